"""What is printed, drawn and written about a comparison. Runs are drawn by hand: `synthetic`."""

import errno
import io
import json
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from rich.text import Text

from simfan import history as histories
from simfan.compare import Comparison, compare
from simfan.errors import RunError
from simfan.history import History
from simfan.plant.case import Criteria
from simfan.report import account, fanmap, figures, files, ink, marks, page, sections, terminal
from simfan.report.names import file_names
from simfan.report.sections import Section
from tests import synthetic

SURGE = (190.0, 258.0)
CRITERIA = Criteria(time_outside_band=60.0, stall_margin=0.05, settling_time=30.0)
LONG_NAMES = [f"outlet-damper-number-{i}-far-away-at-the-kiln" for i in range(6)]


@cache
def surging() -> History:
    return synthetic.history("damper-at-kiln", surge=SURGE)


@cache
def by_speed() -> History:
    return synthetic.history("variable-speed", "variable speed")


@cache
def comparison() -> Comparison:
    return compare([surging(), synthetic.history("damper-at-fan"), by_speed()], CRITERIA)


def many() -> Comparison:
    """Eight strategies with long names."""
    named = [replace(by_speed(), facts=replace(by_speed().facts, strategy=n)) for n in LONG_NAMES]
    return compare([surging(), by_speed(), *named], CRITERIA)


def printed(found: Comparison, width: int = 80, system: str = "si", encoding: str = "utf-8") -> str:
    raw = io.BytesIO()
    paper = io.TextIOWrapper(raw, encoding=encoding)
    page.print_on(terminal.console(paper, width), found, system)  # type: ignore[arg-type]
    paper.flush()
    return raw.getvalue().decode(encoding)


def table_row(text: str, name: str) -> list[str]:
    """The words of the table's row that begins with this name, after its unit."""
    line = next(line for line in text.splitlines() if line.strip().startswith(name))
    return line.split("]")[-1].replace(name, "").split()


@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
@pytest.mark.parametrize(("width", "system"), [(80, "si"), (80, "us"), (120, "si")])
@pytest.mark.parametrize("found", [comparison, many])
def test_no_line_is_wider_than_the_terminal(found, width, system, encoding):
    lines = printed(found(), width, system, encoding).splitlines()
    assert max(map(len, lines)) <= width
    assert not any("…" in line for line in lines if "[" in line), "a cell was cut"


def test_every_strategy_has_its_column_however_many_there_are():
    text = printed(many())
    assert text.count("meets the criteria  ") == 2, "eight strategies stand on two sheets of four"
    assert len(table_row(text, "IAE")) == 4
    for name in LONG_NAMES:
        assert all(part in text for part in name.split("-"))


def test_a_miss_is_told_by_a_sign_and_not_by_colour_alone():
    text = printed(comparison())
    assert table_row(text, "meets the criteria") == ["✗", "no", "✗", "no", "yes"]
    limit, *cells = table_row(text, "surge cycles")[1:]
    assert (limit, cells) == ("0", ["✗", "68", "0", "0"])
    assert "✗ misses a criterion" in text


def test_a_terminal_without_the_signs_gets_plain_letters():
    text = printed(comparison(), encoding="ascii")
    assert table_row(text, "meets the criteria")[:2] == ["x", "no"]
    assert "<= 60" in text
    assert "27 -> 18 m3/s" in text
    assert "?" not in text.replace("meet the criteria?", "")


def test_the_answer_comes_first():
    lines = [line for line in printed(comparison()).splitlines() if line]
    assert lines[1] == "Which strategies meet the criteria?"
    assert lines[2] == "1 of 3 strategies meet the criteria: variable-speed."


def test_every_row_with_a_quantity_says_its_unit():
    text = printed(comparison())
    table = text[text.index("Held the setpoint") : text.index("misses a criterion")]
    rows = [line for line in table.splitlines() if re.match(r" \S", line)]
    without = [row.split("  ")[0].strip() for row in rows if "[" not in row]
    assert without == ["surge cycles", "reversals"]  # counts have no unit


def test_the_table_says_what_the_result_file_says():
    text, told = printed(comparison()), comparison().to_json()["strategies"]
    wanted = [s["energy"]["electrical_kwh"] for s in told]
    assert [float(w) for w in table_row(text, "from the supply")] == pytest.approx(wanted, rel=5e-3)
    wanted = [s["excursions"]["highest_motor_load_percent"] for s in told]
    cells = table_row(text, "highest motor load")
    assert [float(w) for w in cells[2:]] == pytest.approx(wanted, rel=5e-3)


def test_energy_per_volume_in_us_units_is_per_cubic_foot():
    """1 ft³ = 0.3048³ m³, exact by definition of the foot."""
    per_m3 = float(table_row(printed(comparison()), "per 1000 m3")[0])
    per_ft3 = float(table_row(printed(comparison(), system="us"), "per 1000 ft3")[0])
    assert per_ft3 == pytest.approx(per_m3 * 0.3048**3, rel=5e-3)


def test_a_run_that_stopped_on_its_numbers_is_told_with_the_others():
    stopped = synthetic.history("broken", stopped="flow of discharge is no number at 12 s")
    text = printed(compare([stopped, by_speed()], CRITERIA))
    assert table_row(text, "meets the criteria") == ["✗", "stopped", "yes"]
    assert "flow of discharge is no number" in text


def test_a_run_with_nothing_to_judge_leaves_its_column_empty():
    whole = by_speed()
    traces = {name: values[:1] for name, values in whole.traces.items()}
    audit = replace(whole.audit, stopped="no number at 0 s")
    nothing = replace(whole, time=whole.time[:1], traces=traces, audit=audit)
    text = printed(compare([nothing, surging()], CRITERIA))
    assert table_row(text, "IAE")[0] == "-"


def test_what_the_user_must_be_careful_of_closes_the_page():
    text = printed(comparison())
    assert "maker's curve and stall line, local codes and licensed practice rule" in text
    assert text.index("Be careful") > text.index("Assumed")


def test_a_new_section_needs_no_change_to_the_others():
    mine = Section("mine", "A finding", text=lambda c, s: Text(f"{len(c.strategies)} runs"))
    silent = Section("silent", "Nothing here", text=lambda c, s: None)
    paper = io.StringIO()
    page.print_on(terminal.console(paper, 80), comparison(), "si", (*page.COMPARISON, mine, silent))
    assert paper.getvalue().rstrip().endswith("A finding\n3 runs")
    assert "Nothing here" not in paper.getvalue()


def test_sections_have_keys_of_their_own():
    keys = [section.key for section in page.COMPARISON]
    assert len(keys) == len(set(keys))


def drawn(run: History, system: str = "si"):
    return figures.picture(run, "a verdict", system=system)  # type: ignore[arg-type]


@pytest.mark.parametrize("system", ["si", "us"])
@pytest.mark.parametrize("run", [surging, by_speed])
def test_every_axis_has_name_symbol_and_unit(run, system):
    figure = drawn(run(), system)
    trends, chart = figure.axes[:5], figure.axes[5]
    labels = [a.get_ylabel() for a in (*trends, chart)] + [trends[-1].get_xlabel(),
                                                            chart.get_xlabel()]  # fmt: skip
    for label in labels:
        assert re.fullmatch(r"[A-Z][a-z ]+ \S+ \[.+\]", label), label
    assert ("cfm" in labels[0]) == (system == "us")


def test_trends_share_one_time_axis():
    first, *others = drawn(surging()).axes[:5]
    assert all(first.get_shared_x_axes().joined(first, other) for other in others)


def line(axes, label: str):
    return next(found for found in axes.lines if str(found.get_label()).startswith(label))


def test_no_sample_of_a_surge_is_left_out_of_the_picture():
    run = surging()
    figure = drawn(run)
    assert np.array_equal(line(figure.axes[5], "path of").get_xdata(), run.trace("fan_flow"))
    assert np.array_equal(line(figure.axes[0], "true fan flow").get_ydata(), run.trace("fan_flow"))


def test_a_steady_point_lies_on_the_curve_that_is_drawn():
    """Fan laws p = (ρ/ρ₀)·n²·f(Q/n): the run moved on them, the drawn curve must meet its path."""
    run = synthetic.history("damper-at-fan")
    rated = line(drawn(run).axes[5], "fan at rated speed")
    on_curve = np.interp(run.trace("fan_flow"), rated.get_xdata(), rated.get_ydata())
    near = run.trace("fan_pressure") / on_curve
    # the run turns at 0.995 of rated speed: n² = 0.990, and Q/n moves along the slope
    assert np.all(np.abs(near - 0.99) < 0.012)


def test_the_stall_line_is_a_parabola_through_the_peak_at_every_speed():
    run = by_speed()
    stall = line(drawn(run).axes[5], "peak of the curve")
    flow, rise = np.array(stall.get_xdata()), np.array(stall.get_ydata())
    share = flow / synthetic.STALL_FLOW
    peak = 1.133 / synthetic.RATED_DENSITY * max(run.facts.fan_map.pressure)
    assert rise == pytest.approx(share**2 * peak, rel=1e-3, abs=1.0)


def test_curves_at_rated_density_say_so_when_the_density_is_not_known():
    run = by_speed()
    unknown = replace(run.facts.fan_map, density=None)
    old = replace(run, facts=replace(run.facts, fan_map=unknown))
    assert fanmap.density_ratio(old) == 1.0
    assert "at rated density" in fanmap.density_words(old, "si")


def test_a_fan_without_a_peak_has_no_stall_line():
    run = by_speed()
    flat = replace(run.facts.fan_map, stall_flow=None, stall_basis="no peak")
    traces = {**run.traces, "stall_flow": np.full_like(run.traces["stall_flow"], np.nan)}
    bare = replace(run, traces=traces, facts=replace(run.facts, fan_map=flat))
    figure = drawn(bare)
    labels = [str(found.get_label()) for axes in figure.axes for found in axes.lines]
    assert not any("peak" in label or "stall" in label for label in labels)
    assert marks.spans(bare.time, marks.left_of_stall(bare)) == ()


def test_speeds_near_one_another_share_a_curve():
    assert fanmap.speeds_used([1.0, 0.98, 0.6, 0.62, 0.45]) == [0.62, 0.45]


def test_spans_out_of_bounds_are_joined_across_short_returns():
    time = np.arange(0.0, 10.0, 0.5)
    out = ((time >= 1.0) & (time < 2.0)) | ((time >= 3.0) & (time < 4.0)) | (time >= 9.0)
    assert marks.spans(time, out) == (marks.Span(1.0, 4.0), marks.Span(9.0, 9.5))


def test_a_swinging_fan_is_not_marked_as_standing_anywhere():
    run = surging()
    found = [p.mark for p in marks.resting(run, marks.events(run, "si"))]
    assert found == ["start", "1", "2", "4", "5"]  # 3 is the step into surge


def test_events_are_numbered_and_told_in_the_reader_s_units():
    """18 m³/s = 38140 cfm: 1 cfm = 0.3048³/60 m³/s."""
    told = marks.events(surging(), "us")
    assert [e.mark for e in told] == ["1", "2", "3", "4", "5"]
    assert told[2].words == "setpoint 57210 → 38140 cfm"
    assert "filter clogs" in told[4].words


def test_units_in_words_are_typeset():
    assert ink.typeset("45 m3/s, 4 ft2, 1.2 kg/m3, item3") == "45 m³/s, 4 ft², 1.2 kg/m³, item3"


def drawing(run: History) -> sections.Drawing:
    return next(iter(page.drawings(compare([run], CRITERIA), "si")))


def test_the_same_run_gives_the_same_picture_to_the_byte():
    first, second = drawing(surging()).svg(), drawing(surging()).svg()
    assert first == second
    assert b"<dc:date>" not in first


def test_a_picture_stays_small_enough_to_send():
    assert len(drawing(surging()).svg()) < 1_500_000


def test_a_path_too_long_to_draw_becomes_a_bitmap(monkeypatch):
    assert b"<image" not in drawing(by_speed()).svg()
    monkeypatch.setattr(sections, "LARGEST_SVG", 1000)
    assert b"<image" in drawing(by_speed()).svg()


def test_the_folder_holds_result_histories_and_pictures(tmp_path):
    written = files.write(tmp_path / "deep" / "out", comparison(), "si")
    names = {p.name for p in (tmp_path / "deep" / "out").iterdir()}
    strategies = ("damper-at-kiln", "damper-at-fan", "variable-speed")
    assert names == {"result.json", "summary.txt", "report.html"} | {
        f"{s}.{e}" for s in strategies for e in ("npz", "csv", "svg", "png")
    }
    assert {p.name for p in written} == names
    folder = written[0].parent
    told = json.loads((folder / "result.json").read_text(encoding="utf-8"))
    assert told == json.loads(json.dumps(comparison().to_json()))
    summary = (folder / "summary.txt").read_text(encoding="utf-8")
    assert max(map(len, summary.splitlines())) <= 80
    again = histories.load(folder / "variable-speed.npz")
    assert np.array_equal(again.trace("fan_flow"), by_speed().trace("fan_flow"))
    assert (folder / "variable-speed.png").read_bytes().startswith(b"\x89PNG")


def test_a_folder_that_cannot_be_made_is_a_sentence_before_any_run(tmp_path):
    (tmp_path / "taken").write_text("a file, not a folder")
    with pytest.raises(RunError, match=r"cannot be written: .*--out"):
        files.prepare(tmp_path / "taken" / "out")


def test_a_disk_that_fills_up_names_the_file_and_what_was_written(tmp_path, monkeypatch):
    def full(self: History, path: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", str(path))

    monkeypatch.setattr(History, "save_csv", full)
    with pytest.raises(RunError) as told:
        files.write(tmp_path, comparison(), "si")
    assert re.search(r"damper-at-kiln\.csv cannot be written: No space left", str(told.value))
    assert "result.json, summary.txt, damper-at-kiln.npz" in str(told.value)


def test_strategies_never_share_a_file_name():
    assert file_names(["a/b", "a b", "A-B", "../..", ""]) == [
        "a-b", "a-b-2", "A-B-3", "strategy", "strategy-2",
    ]  # fmt: skip


def with_assumptions(*lines: str) -> Comparison:
    return compare([replace(h, facts=replace(h.facts, assumed=lines))
                    for h in (surging(), by_speed())], CRITERIA)  # fmt: skip


DEFAULT = "motor.slip = 1 % (default: common practice, no source)"
DOUBTFUL = "criteria.surge_swing = 10 % (default: an assumption, not validated)"
CURVE = "fan, reverse flow: not from the maker"


def test_the_terminal_counts_plain_defaults_and_tells_the_rest() -> None:
    text = " ".join(printed(with_assumptions(DEFAULT, DOUBTFUL, CURVE)).split())
    assert DEFAULT not in text
    assert DOUBTFUL in text
    assert CURVE in text
    assert "and 1 default: `simfan check FILE` tells them" in text


def test_the_summary_tells_every_default() -> None:
    text = " ".join(files.summary(with_assumptions(DEFAULT, CURVE), "si").split())
    assert DEFAULT in text
    assert "simfan check" not in text


def test_nothing_is_said_of_defaults_where_there_are_none() -> None:
    assert "tells them" not in printed(with_assumptions(CURVE))


def test_the_span_of_the_transmitter_is_told_in_the_unit_of_what_is_held() -> None:
    tuned = replace(by_speed().facts, tuning={"span_low": -500.0, "span_high": 100.0},
                    held_kind="pressure")  # fmt: skip
    assert account.tuning_words(tuned, "si").startswith("span -500 to 100 Pa")
    assert account.tuning_words(tuned, "us").startswith("span -2.01 to 0.401 in. w.g.")


@pytest.mark.parametrize(
    ("kind", "label"),
    [("pressure", "Held pressure p [in. w.g.]"), ("mass flow", "Held mass flow ṁ [lb/s]")],
)
def test_what_is_held_has_an_axis_of_its_own_unless_it_is_a_volume_flow(kind, label) -> None:
    run = surging()
    figure = drawn(replace(run, facts=replace(run.facts, held_kind=kind)), "us")
    assert figure.axes[0].get_ylabel() == label
    assert figure.axes[1].get_ylabel() == "Flow Q [cfm]"
    held = [str(found.get_label()).split()[0] for found in figure.axes[0].lines]
    assert {"true", "measured", "setpoint"} <= set(held)
    assert line(figure.axes[1], "true fan flow").get_xdata() is not None
    assert not any(str(f.get_label()).startswith("setpoint") for f in figure.axes[1].lines)


def test_a_held_pressure_is_told_as_one_in_events_and_headings() -> None:
    run = surging()
    held = replace(run, facts=replace(run.facts, held_kind="pressure"))
    assert marks.events(held, "si")[0].words == "setpoint 45 → 36 Pa"
    assert "setpoint of flow [Pa]" in [heading for heading, _ in held.columns()]
    assert "fan_flow of fan [m3/s]" in [heading for heading, _ in held.columns()]


def test_the_map_of_a_fan_with_vanes_says_that_its_line_is_that_of_the_open_inlet() -> None:
    """Else a settled point left of the line, vanes closed and margin left, looks like stall."""
    run = synthetic.history("damper", "outlet damper")
    vanes = replace(run, items={**run.items, "element": ("inlet vanes",)})
    assert fanmap._inlet_words(vanes) == ", inlet open"
    assert fanmap._inlet_words(run) == ""
