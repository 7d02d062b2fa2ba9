"""`simfan map`: what it answers, prints, draws and writes, and what it says of mistakes."""

import io
import json
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from simfan import api, cli
from simfan.errors import RunError
from simfan.operating_map import Band, BestPath, Region, Share
from simfan.overview import SHARES, Overview
from simfan.report import map_best, map_fan, map_lines, map_page, map_points, page, terminal
from simfan.report.map_pictures import PICTURES, SIDE_BY_SIDE
from simfan.scenario.rewrite import with_sequence, write_sequences

SCENARIOS = sorted((Path(__file__).parent.parent / "scenarios").glob("*.toml"))
KILN = next(path for path in SCENARIOS if path.stem == "kiln-air")
BED = next(path for path in SCENARIOS if path.stem == "bed-air")
SMALL = next(path for path in SCENARIOS if path.stem == "ten-lines")
FURNACE = next(path for path in SCENARIOS if path.stem == "furnace-draft")
FEW = 9
"""Points of a map where their number does not matter."""
TABLE = {"output": (0.0, 0.25, 1.0), "inlet_vanes": (0.3, 0.3, 1.0), "speed": (0.6, 0.8, 1.0)}


def call(*words: object) -> Result:
    return CliRunner().invoke(cli.main, ["map", *(str(w) for w in words)])


@cache
def overview(path: Path = KILN) -> Overview:
    return api.operating_map(api.load(path), points=FEW)


@cache
def answer(path: Path) -> dict:
    words = json.dumps(overview(path).to_json(), allow_nan=False)
    return json.loads(words)


def printed(found: Overview, width: int = 80, system: str = "si", encoding: str = "utf-8") -> str:
    raw = io.BytesIO()
    paper = io.TextIOWrapper(raw, encoding=encoding)
    page.print_on(terminal.console(paper, width), found, system, map_page.MAP)  # type: ignore
    paper.flush()
    return raw.getvalue().decode(encoding)


def with_extras() -> Overview:
    """With all that may stand in a map; numbers out of the air."""
    region = Region((5.0, 10.0, 20.0), (None, 0.0, 0.0), (None, 2000.0, 3000.0),
                    (None, {"inlet vanes": 0.4}, {"inlet vanes": 0.9}), (2500.0, 2800.0, 3100.0))
    way = Share("vanes first", (40.0, 20.0), (2e5, float("nan")), (0.3, float("nan")), 3.0)
    best = BestPath((40.0, 20.0), (1.5e5, 4e4), {"output": (0.0, 1.0), "inlet vanes": (0.4, 1.0),
                    "speed": (0.5, 1.0)}, 0.02, (way,))
    bands = {"lowest": Band(8.0, 12.0, "coldest day, curve low", "hottest day", "volume flow"),
             "power at design flow": Band(2e5, 2.2e5, "hottest day", "coldest day", "power")}
    found = overview()
    maps = tuple(replace(m, region=region, bands=bands, best_path=best)
                 for m in found.map.strategies)
    return replace(found, map=replace(found.map, strategies=maps))


def all_dicts(value: object):
    if isinstance(value, dict):
        yield value
    for inner in (value.values() if isinstance(value, dict) else
                  value if isinstance(value, list) else ()):
        yield from all_dicts(inner)


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_every_strategy_of_every_scenario_is_answered(path):
    told = answer(path)
    assert [s["name"] for s in told["strategies"]] == list(api.load(path).strategies)
    for strategy in told["strategies"]:
        assert len(strategy["points"]) >= FEW
        assert strategy["turndown"]["ended_above_by"] and strategy["turndown"]["ended_below_by"]
        assert strategy["turndown"]["lowest_m3s"] <= strategy["turndown"]["highest_m3s"]


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_every_number_that_is_missing_says_why(path):
    for told in all_dicts(answer(path)):
        reasons = told.get("reasons", {})
        assert set(reasons) >= {key for key, value in told.items() if value is None}
        assert all(reasons.values())


def test_what_a_map_may_also_hold_says_why_it_has_gaps():
    for told in all_dicts(with_extras().to_json()):
        gaps = {k for k, v in told.items() if v is None or (isinstance(v, list) and None in v)}
        assert gaps <= set(told.get("reasons", {}))
    json.dumps(with_extras().to_json(), allow_nan=False)


def test_a_point_tells_flow_elements_pressure_power_and_stability_each_with_its_unit():
    point = answer(KILN)["strategies"][0]["points"][0]
    assert set(point) - {"reasons"} == {
        "held_m3s", "output_percent", "flow_m3s", "mass_flow_kg_s", "pressure_pa",
        "volume_pressure_pa", "density_kg_m3", "speed_percent", "positions",
        "blade_angles_deg", "taken_pa", "stall_flow_m3s", "stall_margin_percent",
        "flow_over_stall_percent", "shaft_kw", "electrical_kw", "current_a", "motor_load_percent",
        "specific_energy_kwh_per_1000_m3", "fan_efficiency_percent", "stability", "stable",
        "fan_slope_pa_s_per_m3", "system_slope_pa_s_per_m3", "critical_volume_m3",
        "gain_m3s_per_percent", "reached_by_start", "missed"}


def test_the_numbers_of_a_point_agree_with_one_another():
    """Definitions: margin (Q − Qs)/Q = 1 − Qs/Q; 1 kW at 1 m³/s is 1/3.6 kWh per 1000 m³."""
    for strategy in answer(KILN)["strategies"]:
        for point in strategy["points"]:
            energy = point["electrical_kw"] / point["flow_m3s"] / 3.6
            assert point["specific_energy_kwh_per_1000_m3"] == pytest.approx(energy, rel=1e-12)
            if point["stall_margin_percent"] is not None:
                share = point["stall_flow_m3s"] / point["flow_m3s"]
                assert point["stall_margin_percent"] == pytest.approx(100 * (1 - share), abs=1e-9)
                assert point["flow_over_stall_percent"] == pytest.approx(100 / share, rel=1e-12)


def test_a_held_pressure_has_no_ratio_but_its_flows_have():
    for strategy in answer(FURNACE)["strategies"]:
        turndown = strategy["turndown"]
        assert turndown["ratio"] is None and "pressure" in turndown["reasons"]["ratio"]
        ends = turndown["highest_m3s"] / turndown["lowest_m3s"]
        assert turndown["flow_ratio"] == pytest.approx(ends, rel=1e-12)
        assert strategy["points"][0]["held_pa"] is not None


def test_power_is_compared_at_shares_of_the_flow_the_process_is_designed_for():
    told = answer(KILN)
    assert told["design_flow_m3s"] == 45.0, "as the file says"
    density = {s["name"]: s["part_load"] for s in told["strategies"]}["variable-speed"]
    for share, at in zip(SHARES, density, strict=True):
        point = at["point"]
        rated = point["mass_flow_kg_s"] / point["density_kg_m3"]
        assert rated == pytest.approx(share * 45.0, rel=2e-3), "no loss before the fan"


def test_a_damper_costs_more_at_part_flow_than_vanes_and_these_more_than_speed():
    """Order at equal flow by the published part-load bands (common practice)."""
    power = {s["name"]: [p["point"]["electrical_kw"] for p in s["part_load"][1:]]
             for s in answer(KILN)["strategies"]}
    for damper, box, vanes, speed in zip(*(power[name] for name in (
            "damper-at-kiln", "inlet-box-damper", "inlet-vanes", "variable-speed")), strict=True):
        assert damper > box > vanes > speed


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_no_line_is_wider_than_the_terminal(path, system, encoding):
    lines = printed(overview(path), 80, system, encoding).splitlines()
    assert max(map(len, lines)) <= 80
    assert not any("…" in line or "..." in line for line in lines), "a cell was cut"


def test_eight_strategies_with_long_names_stand_in_eighty_columns():
    found = overview()
    names = [f"outlet-damper-number-{k}-far-away-at-the-kiln" for k in range(8)]
    maps = tuple(replace(m, name=n) for m, n in zip(found.map.strategies, names, strict=True))
    text = printed(replace(found, map=replace(found.map, strategies=maps)))
    assert max(map(len, text.splitlines())) <= 80
    assert text.count("Range within the limits") == 2, "two sheets of four"


def test_a_miss_is_told_without_colour():
    for encoding, sign in (("utf-8", "✗"), ("ascii", "x")):
        text = printed(overview(), encoding=encoding)
        assert f"{sign} 172" in text, "the damper at 60 % of design flow lies left of its limit"
        assert f"{sign} beyond a limit" in text


def test_us_units_are_those_of_the_table_and_not_of_the_json():
    """1 cfm = 0.3048³ m³ in 60 s, by definition: 45 m³/s are 95350 cfm."""
    asked = (KILN, "--units", "us", "--points", FEW, "--strategy", "inlet-vanes")
    assert "at 95350 cfm (100 %) [kW]" in call(*asked).stdout
    told = json.loads(call(*asked, "--json").stdout)
    assert told["design_flow_m3s"] == 45.0


def test_quiet_prints_an_entry_for_each_strategy_and_nothing_else():
    done = call(SMALL, "--quiet", "--points", FEW)
    entries = re.findall(r"^  - ([\w-]+): ", done.stdout, flags=re.M)
    assert entries == list(api.load(SMALL).strategies)
    assert "kW" not in done.stdout and done.stderr == ""


def test_only_the_named_strategies_are_mapped_each_once():
    names = ("--strategy", "inlet-vanes", "--strategy", "inlet-vanes")
    told = json.loads(call(KILN, "--json", "--points", FEW, *names).stdout)
    assert [s["name"] for s in told["strategies"]] == ["inlet-vanes"]


def test_an_unknown_strategy_is_answered_with_the_nearest():
    done = call(KILN, "--strategy", "inlet-vane")
    assert done.exit_code == 2
    assert "did you mean inlet-vanes" in " ".join(done.stderr.split())


@pytest.mark.parametrize("points", [-3, 0, 1, 4, 2002, 100000])
def test_a_number_of_points_out_of_range_is_refused_with_the_range(points):
    done = call(KILN, "--points", points)
    assert done.exit_code == 2 and done.stdout == ""
    assert "5 to 2001" in " ".join(done.stderr.split())


def test_points_that_are_no_number_are_refused():
    done = call(KILN, "--points", "many")
    assert done.exit_code == 2 and "not a valid integer" in done.stderr


@pytest.mark.parametrize("points", [5, 200])
def test_as_many_points_are_told_as_were_asked_for(points):
    told = json.loads(call(KILN, "--strategy", "inlet-vanes", "--json", "--points", points).stdout)
    assert abs(len(told["strategies"][0]["points"]) - points) <= 1


def test_the_answer_carries_the_file_and_its_fingerprint():
    told = json.loads(call(SMALL, "--json", "--points", FEW).stdout, parse_constant=pytest.fail)
    assert told["scenario"]["file"] == "ten-lines.toml"
    assert len(told["scenario"]["fingerprint"]) == 16


def test_a_file_that_is_not_there_and_one_that_is_wrong_are_bad_input(tmp_path):
    wrong = tmp_path / "wrong.toml"
    wrong.write_text(KILN.read_text().replace('rating = "315 kW"', 'rating = "315 km"'))
    for path, said in ((tmp_path / "none.toml", "no file of this name"), (wrong, "315 km")):
        done = call(path)
        assert done.exit_code == 2 and said in done.stderr and "Traceback" not in done.stderr


def test_a_fixed_pressure_above_shut_off_is_answered_in_words(tmp_path):
    """The fan gives 4.9 kPa at most by its own sheet; the process stands at 6 kPa."""
    path = tmp_path / "above.toml"
    path.write_text(BED.read_text()
                    .replace('fixed_pressure = "2.7 kPa"', 'fixed_pressure = "6 kPa"')
                    .replace('pressure = "4 kPa" }', 'pressure = "7 kPa" }'))
    done = call(path, "--points", FEW)
    assert done.exit_code == 0, done.stderr
    words = " ".join(done.stdout.split())
    for name in api.load(path).strategies:
        assert f"{name}: no forward flow even at full output" in words
    assert call(path, "--points", FEW, "--out", tmp_path / "out").exit_code == 0


def test_a_folder_gets_answer_words_and_pictures_and_keeps_what_a_comparison_wrote(tmp_path):
    theirs = {name: f"{name} of a comparison" for name in (
        "result.json", "summary.txt", "report.html", "inlet-vanes.svg", "variable-speed.png")}
    for name, words in theirs.items():
        (tmp_path / name).write_text(words)
    done = call(KILN, "--points", FEW, "--out", tmp_path, "--strategy", "inlet-vanes",
                "--strategy", "variable-speed")
    assert done.exit_code == 0 and "map.json" in done.stderr
    assert {name: (tmp_path / name).read_text() for name in theirs} == theirs
    assert json.loads((tmp_path / "map.json").read_text())["schema_version"] == 1
    assert (tmp_path / "map.txt").read_text().startswith("Kiln combustion air")
    names = {"power", "stall-margin", "positions", "gain", "inlet-vanes", "variable-speed"}
    for ending, start in (("png", b"\x89PNG"), ("svg", b"<?xml")):
        drawn = {p.stem: p.read_bytes() for p in (tmp_path / "operating-map").glob(f"*.{ending}")}
        assert set(drawn) >= names
        assert all(content.startswith(start) for content in drawn.values())


def test_the_page_stands_alone_and_tells_every_strategy(tmp_path):
    done = call(KILN, "--points", FEW, "--out", tmp_path, "--strategy", "inlet-vanes",
                "--strategy", "damper-at-fan")
    assert done.exit_code == 0
    told = (tmp_path / "map.html").read_text()
    assert "stall margin below 5 %" in told and told.count("<svg") == 7
    for name in ("inlet-vanes", "damper-at-fan"):
        assert f"{name}: operating points over the fan" in told
    ids = re.findall(r'\bid="([^"]+)"', told)
    assert len(ids) == len(set(ids)), "two pictures on one page would share their marks"
    assert not re.search(r'(?:src|href)="(?!#|data:)', told), "nothing is fetched"


def test_the_map_is_a_section_of_the_report_of_a_comparison():
    part = map_page.in_a_report(lambda: overview()).html(None, "si")
    assert part.body.count("<svg") == 5, "power, margin, positions, gain, year"
    assert all(m.name in part.body for m in overview().map.strategies)


def test_a_strategy_called_like_a_picture_has_a_picture_of_its_own():
    found = overview()
    first, *others = found.map.strategies
    maps = (replace(first, name="power"), *others)
    changed = replace(found, map=replace(found.map, strategies=maps))
    names = [d.name for s in (SIDE_BY_SIDE, PICTURES) for d in s.drawings(changed, "si")]
    assert len(names) == len(set(names)) and "operating-map/power" in names
    assert "operating-map/power-2" in names


def test_a_folder_that_cannot_be_made_is_told_before_any_work(tmp_path):
    (tmp_path / "taken").write_text("a file")
    done = call(KILN, "--out", tmp_path / "taken" / "deeper")
    assert done.exit_code == 2 and "cannot be written" in " ".join(done.stderr.split())


def test_the_same_map_gives_the_same_picture():
    one, two = (next(iter(SIDE_BY_SIDE.drawings(overview(), "si"))).svg() for _ in range(2))
    assert one == two


def test_shape_and_filling_of_a_marker_tell_stability_and_limits():
    kiln = next(m for m in overview().map.strategies if m.name == "damper-at-kiln")
    axes = map_fan.picture(overview(), kiln, "si", False).axes[0]
    drawn = {line.get_label(): line for line in axes.get_lines() if line.get_marker() != "None"}
    stable = drawn["stable, within the limits"]
    swings = drawn["dynamically unstable, beyond a limit"]
    assert stable.get_marker() != swings.get_marker()
    assert stable.get_markerfacecolor() != "white" and swings.get_markerfacecolor() == "white"


@pytest.mark.parametrize("system", ["si", "us"])
def test_every_axis_has_a_name_and_a_unit(system):
    for draw in (map_lines.power, map_lines.margin, map_lines.gain):
        axes = draw(overview(), system, False).axes[0]
        for label in (axes.get_xlabel(), axes.get_ylabel()):
            assert re.search(r"\w .* \[.+\]", label)


def test_a_strategy_is_told_from_others_by_a_letter_on_its_line():
    axes = map_lines.power(overview(), "si", False).axes[0]
    letters = {text.get_text() for text in axes.texts}
    listed = [text.get_text() for text in axes.get_legend().get_texts()]
    for letter, found in zip("ABCDEFGH", overview().map.strategies, strict=True):
        assert letter in letters and f"{letter}  {found.name}" in listed


def test_what_a_map_has_not_is_not_spoken_of():
    found = overview()
    bare = tuple(replace(m, region=None, bands={}, best_path=None) for m in found.map.strategies)
    text = printed(replace(found, map=replace(found.map, strategies=bare), years={}))
    for title in ("Least power from two elements", "Over the days", "In a year of"):
        assert title not in text


def test_what_a_map_has_is_shown():
    found = with_extras()
    text = printed(found)
    assert "Least power from two elements" in text and "vanes first" in text
    words = " ".join(text.split())
    assert "lowest 8 m3/s (coldest day, curve low) to 12 m3/s (hottest day)" in words
    assert "power at design flow 200 kW (hottest day) to 220 kW (coldest day)" in words
    band = found.to_json()["strategies"][0]["bands"]["power at design flow"]
    assert band["low_kw"] == 200.0 and band["high_kw"] == 220.0
    reach = map_fan.picture(found, found.map.strategies[0], "si", False)
    assert len(reach.axes) == 2 and "volume" in reach.axes[1].get_ylabel()


def test_a_way_of_sharing_is_read_at_the_value_held_and_not_beyond_its_own():
    way = Share("together", (40.0, 30.0, 10.0), (2e5, 1e5, 2e4), (0.3, 0.3, 0.3), 2.0)
    assert map_best.at(way, 35.0) == pytest.approx(1.5e5, rel=1e-12)
    assert map_best.at(way, 40.01) == 2e5, "the end, but for rounding"
    assert np.isnan(map_best.at(way, 41.0)) and np.isnan(map_best.at(way, 9.0))


YEAR = """[year]
baseline = "damper-at-fan"
co2_per_kwh = 0.4
profile = { demand = { unit = "m3/s", values = [45, 27, 8] }, hours = [3000, 5260, 500] }

[criteria]"""


@pytest.fixture(scope="module")
def year(tmp_path_factory) -> Path:
    """The kiln with another load profile, and without installed costs."""
    path = tmp_path_factory.mktemp("year") / "year.toml"
    text = re.sub(r"installed_cost = .*\n", "", KILN.read_text())
    without = re.sub(r"\[year\].*?(?=\[\[timeline)", "", text, count=1, flags=re.S)
    path.write_text(without.replace("[criteria]", YEAR))
    return path


def test_a_load_profile_puts_a_year_into_the_answer(year, tmp_path):
    names = ("damper-at-fan", "vanes-then-speed")
    asked = [word for name in names for word in ("--strategy", name)]
    done = call(year, "--points", FEW, "--out", tmp_path, *asked)
    assert done.exit_code == 0, done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "In a year of the load profile" in done.stdout and "\u2717 500" in done.stdout
    told = json.loads((tmp_path / "map.json").read_text())
    for strategy in told["strategies"]:
        energy = strategy["year"]
        assert energy["co2_kg"] == pytest.approx(0.4 * energy["electrical_kwh"], rel=1e-12)
        assert energy["cost"] == pytest.approx(0.12 * energy["electrical_kwh"], rel=1e-12)
        assert energy["bins"][0]["low_m3s"] == 8.0
        assert energy["payback_years"] is None and energy["reasons"]["payback_years"]
    assert (tmp_path / "operating-map" / "year.png").exists()


def test_points_shown_keep_the_ends_within_the_limits_and_fall_in_flow():
    for found in overview().map.strategies:
        flows = [p.flow for p in map_points.shown(found)]
        assert flows == sorted(flows, reverse=True)
        for end in (found.turndown.highest, found.turndown.lowest):
            assert np.min(np.abs(np.array(flows) - end.flow)) < 1e-6 * end.flow


def test_without_a_found_sequence_nothing_is_written(tmp_path):
    path = tmp_path / "kiln.toml"
    path.write_bytes(KILN.read_bytes())
    done = call(path, "--points", FEW, "--strategy", "variable-speed", "--write-sequence")
    assert done.exit_code == 2 and "Nothing was written" in " ".join(done.stderr.split())
    assert path.read_bytes() == KILN.read_bytes() and len(list(tmp_path.iterdir())) == 1


SEQUENCE = 'sequence = { order = "vanes first", split = "50 %", least_opening = "30 %" }'
WRITINGS = {
    "as a value": SEQUENCE,
    "as a value with a comment": f"{SEQUENCE}   # ours",
    "as a table": '[strategies.vanes-then-speed.sequence]  # ours\norder = "vanes first"  # why\n'
                  '# a note\nsplit = "50 %"',
    "as dotted keys": 'sequence.order = "vanes first"  # why\nsequence.split = "50 %"',
    "as a table of points": 'sequence = { output = { unit = "%", values = [\n  0,  # shut\n  100 ] '
                            '}, inlet_vanes = { unit = "%", values = [30, 100] }, speed = { unit = '
                            '"%", values = [60, 100] } }',
}


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("writing", WRITINGS.values(), ids=WRITINGS)
def test_a_found_sequence_takes_the_old_ones_place_and_every_other_line_stays(
        tmp_path, writing, ending):
    path = tmp_path / "kiln.toml"
    before = KILN.read_text().replace(SEQUENCE, writing).replace("\n", ending).encode()
    path.write_bytes(before)
    kept = write_sequences(path, {"vanes-then-speed": TABLE})
    sequence = api.load(path).strategies["vanes-then-speed"].sequence
    for name, values in TABLE.items():
        assert getattr(sequence, name) == pytest.approx(values, abs=1e-12)
    assert kept.read_bytes() == before
    after = path.read_bytes().decode()
    for line in KILN.read_text().splitlines():
        assert line == SEQUENCE or line in after
    for comment in re.findall(r"# (?:ours|why|a note)", writing):
        assert comment in after
    assert after.count("\r\n") == (after.count("\n") if ending == "\r\n" else 0)


def test_the_command_writes_what_it_found_and_says_where_the_old_file_is(tmp_path):
    path = tmp_path / "kiln.toml"
    path.write_bytes(KILN.read_bytes())
    done = call(path, "--points", FEW, "--strategy", "vanes-with-speed", "--write-sequence")
    assert done.exit_code == 0, done.stderr
    assert "kiln.toml.bak" in done.stderr
    assert (tmp_path / "kiln.toml.bak").read_bytes() == KILN.read_bytes()
    best = overview().map.strategies[-1].best_path
    sequence = api.load(path).strategies["vanes-with-speed"].sequence
    assert sequence.output == pytest.approx(best.table["output"], abs=1e-10)
    assert sequence.speed == pytest.approx(best.table["speed"], abs=1e-10)
    untouched = api.load(KILN).strategies["vanes-then-speed"].sequence
    assert api.load(path).strategies["vanes-then-speed"].sequence == untouched


def test_no_old_file_is_written_over(tmp_path):
    path = tmp_path / "kiln.toml"
    path.write_bytes(KILN.read_bytes())
    kept = [write_sequences(path, {"vanes-then-speed": TABLE}) for _ in range(3)]
    assert [k.name for k in kept] == ["kiln.toml.bak", "kiln.toml.bak2", "kiln.toml.bak3"]
    assert kept[0].read_bytes() == KILN.read_bytes()


def test_a_sequence_that_would_break_the_scenario_leaves_the_file(tmp_path):
    path = tmp_path / "kiln.toml"
    path.write_bytes(KILN.read_bytes())
    with pytest.raises(RunError, match=r"left as it is.*speed\.minimum, 40 %"):
        write_sequences(path, {"vanes-then-speed": {**TABLE, "speed": (0.1, 0.8, 1.0)}})
    assert path.read_bytes() == KILN.read_bytes() and len(list(tmp_path.iterdir())) == 1


def test_a_sequence_inside_a_line_with_other_keys_is_left_to_the_user():
    line = ('strategies.both = { inlet_vanes = { stroke_time = "10 s" }, '
            'sequence.order = "together", speed = { ramp_up = "9 s", ramp_down = "9 s" } }\n')
    with pytest.raises(RunError, match=r"By hand: sequence = \{ output"):
        with_sequence(line, "both", TABLE)
