"""The front door from Python: its names, results that show themselves, frames, what it loads."""

import ast
import builtins
import io
import json
import subprocess
import sys
from dataclasses import is_dataclass, replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from simfan import api, compare
from simfan.metrics import results
from simfan.steady import map as steady_map
from tests import synthetic

WICKED = "<script>alert('&')</script>"
CRITERIA = api.Criteria(settling_time=30.0, stall_margin=0.1)
RUNS = [synthetic.history("outlet-damper", surge=(125.0, 175.0)),
        synthetic.history("drive", "variable speed")]


@pytest.fixture(autouse=True)
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    """As wide as where there is no terminal."""
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture(scope="module")
def comparison() -> api.Comparison:
    return compare.compare(RUNS, CRITERIA)


def titled(title: str, strategy: str) -> api.History:
    run = RUNS[1]
    return replace(run, facts=replace(run.facts, title=title, strategy=strategy))


class Page(HTMLParser):
    """The cells of the tables, row by row, and every tag."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.tags: list[str] = []
        self.in_cell = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
            self.in_cell = True

    def handle_endtag(self, tag: str) -> None:
        self.in_cell = self.in_cell and tag not in ("td", "th")

    def handle_data(self, data: str) -> None:
        if self.in_cell:
            self.rows[-1][-1] += data


def test_everything_that_may_be_used_is_listed() -> None:
    body = ast.parse(Path(api.__file__).read_text("utf-8")).body
    made = {part.name for part in body if isinstance(part, ast.FunctionDef)}
    assert {name for name in made if not name.startswith("_")} <= {*api.__all__}
    assert len(api.__all__) == len({*api.__all__})
    starred: dict[str, object] = {}
    exec("from simfan.api import *", starred)
    assert {*api.__all__} <= {*starred}


def test_every_class_of_a_comparison_is_reached_from_the_front_door() -> None:
    for module in (results, compare):
        for name, thing in vars(module).items():
            if is_dataclass(thing) and not name.startswith("_"):
                assert getattr(api, name) is thing
                assert name in api.__all__
    assert {"Case", "Criteria", "Overview", "ScenarioError", "RunError"} <= {*api.__all__}


def loaded_by(code: str) -> set[str]:
    """Modules there after the code has run in a Python of its own."""
    told = f"{code}\nimport sys, json\nprint(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True)
    return set(json.loads(done.stdout.splitlines()[-1]))


def test_the_front_door_loads_no_simulator_no_pages_and_no_pandas() -> None:
    heavy = {"scipy.interpolate", "scipy.optimize", "simpy", "matplotlib", "bokeh", "jinja2",
             "rich", "pandas", "simfan.simulate", "simfan.kernel.advance", "simfan.report"}
    scenario = "scenarios/ten-lines.toml"
    assert not heavy & loaded_by(f"from simfan import api; api.assumed(api.load({scenario!r}))")


def test_pandas_is_not_loaded_by_a_run_that_is_shown() -> None:
    code = ("from simfan import api, compare; from tests import synthetic\n"
            "repr(compare.compare([synthetic.history()], api.Criteria()))")  # fmt: skip
    there = loaded_by(code)
    assert "simfan.report.display" in there
    assert not {"pandas", "matplotlib", "bokeh"} & there


def test_a_result_without_the_front_door_shows_itself_in_a_line() -> None:
    code = ("from simfan.compare import compare; from simfan.plant.case import Criteria\n"
            "from tests import synthetic\n"
            "found = compare([synthetic.history()], Criteria())\n"
            "assert repr(found) == '<Comparison>' and found._repr_html_() is None")  # fmt: skip
    assert "simfan.api" not in loaded_by(code)


def test_at_the_prompt_a_comparison_is_the_table_of_the_terminal(
        comparison: api.Comparison) -> None:
    from simfan.report import files
    from simfan.report.table import TABLE

    shown = repr(comparison).splitlines()
    assert shown[0] == comparison.title
    assert shown[2] == "1 of 2 strategies meet the criteria: drive."
    printed = files.on_paper(comparison, "si", [TABLE]).splitlines()
    assert shown[4:] == printed[2:]


def test_at_a_prompt_without_signs_they_are_spelt(
        comparison: api.Comparison, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(io.BytesIO(), encoding="ascii"))
    words = repr(comparison)
    assert words.isascii()
    assert "x 50" in words


def test_in_a_notebook_a_comparison_has_the_rows_of_the_terminal(
        comparison: api.Comparison) -> None:
    rows = Page(comparison._repr_html_()).rows
    assert rows[0] == ["", "allowed", "outlet-damper", "drive"]
    assert rows[1] == ["meets the criteria", "", "✗ no", "yes"]
    words = repr(comparison)
    table = words[words.index("allowed"):words.index("✗ misses")].rstrip().splitlines()[2:]
    for row, line in zip(rows[1:], table, strict=True):
        plain = " ".join(cell for cell in row if cell)
        assert plain.replace("m³", "m3") == " ".join(line.split())


def test_one_strategy_shows_its_verdict_and_what_was_allowed(comparison: api.Comparison) -> None:
    result = comparison.strategies[0]
    rows = {row[0]: row[1:] for row in Page(result._repr_html_()).rows}
    assert rows["surge cycles"] == ["≤ 0", "✗ 50"]
    assert rows["slowest settling [s]"] == ["≤ 30", "✗ 55"]
    assert "surging for 49.2 s" in repr(result)


def test_a_history_shows_where_each_trace_began_and_ended() -> None:
    run = RUNS[0]
    flow = run.trace("fan_flow")
    rows = {row[0]: row[1:] for row in Page(run._repr_html_()).rows}
    got = [float(cell) for cell in rows["fan_flow of fan [m³/s]"]]
    assert got == pytest.approx([flow[0], flow.min(), flow.max(), flow[-1]], rel=5e-3)
    assert len(rows) == 1 + len(run.columns()[1:])
    assert "380 s, 7601 samples" in repr(run)


def test_a_run_that_stopped_on_its_numbers_is_shown_all_the_same() -> None:
    speed = np.full_like(RUNS[1].traces["speed_ratio"], np.nan)
    stopped = replace(RUNS[1], traces={**RUNS[1].traces, "speed_ratio": speed},
                      audit=replace(RUNS[1].audit, stopped="speed is not a number at 0 s"))
    assert "it stopped: speed is not a number at 0 s" in " ".join(repr(stopped).split())
    rows = {row[0]: row[1:] for row in Page(stopped._repr_html_()).rows}
    assert rows["speed_ratio of fan [1]"] == ["-"] * 4
    assert "✗ stopped" in repr(compare.compare([stopped], CRITERIA))


@pytest.mark.parametrize("part", [
    lambda c: c, lambda c: c.strategies[0], lambda c: c.strategies[0].history],
    ids=["comparison", "strategy", "history"])
def test_words_of_a_scenario_stay_words_in_a_notebook(part) -> None:
    found = compare.compare([titled(WICKED, "<img src=x>")], CRITERIA)
    html = part(found)._repr_html_()
    assert not {"script", "img", "link"} & {*Page(html).tags}
    assert "&lt;script&gt;" in html
    assert "&lt;img src=x&gt;" in html
    assert "http" not in html
    assert "url(" not in html
    assert WICKED in repr(part(found))


def test_what_is_no_result_is_not_drawn() -> None:
    from simfan.report import display

    with pytest.raises(TypeError, match="int is not a result"):
        display.drawn(3)


def test_rich_prints_a_result_as_wide_as_its_console(comparison: api.Comparison) -> None:
    from rich.console import Console

    paper = io.StringIO()
    Console(file=paper, width=50).print(comparison)
    assert max(map(len, paper.getvalue().splitlines())) <= 50
    assert paper.getvalue().count("allowed") == 2


@pytest.mark.parametrize("columns", ["1", "20", "45", "400"])
def test_no_terminal_is_too_narrow_to_show_a_result(
        columns: str, comparison: api.Comparison, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    for result in (comparison, comparison.strategies[0], comparison.strategies[0].history):
        assert max(map(len, repr(result).splitlines())) <= int(columns)


def test_a_history_as_a_frame_has_time_items_and_units() -> None:
    pytest.importorskip("pandas", reason="frames need pandas")
    run, frame = RUNS[0], RUNS[0].to_pandas()
    assert frame.shape == (len(run.time), len(run.columns()) - 1)
    assert frame.index.name == "time"
    assert np.array_equal(frame.index, run.time)
    assert frame.columns.names == ["signal", "item"]
    for name in run.traces:
        for item in frame[name].columns:
            assert np.array_equal(frame[name, item], run.trace(name, item), equal_nan=True)
    units = frame.attrs["units"]
    assert [f"{name} of {item} [{units[name]}]" for name, item in frame.columns] == [
        heading for heading, _ in run.columns()[1:]]
    assert (units["time"], units["fan_flow"], units["shaft_power"]) == ("s", "m3/s", "W")


def test_a_held_pressure_has_its_own_unit_in_the_frame() -> None:
    pytest.importorskip("pandas", reason="frames need pandas")
    facts = replace(RUNS[0].facts, holds="pressure", held_kind="pressure")
    units = replace(RUNS[0], facts=facts).to_pandas().attrs["units"]
    assert (units["setpoint"], units["true_value"], units["fan_flow"]) == ("Pa", "Pa", "m3/s")


def at(found: object, path: str) -> object:
    """The value in the JSON that a column names."""
    for key in path.split("."):
        found = found[int(key)] if isinstance(found, list) else found[key]
    return found


def test_a_comparison_as_a_frame_says_what_result_json_says(comparison: api.Comparison) -> None:
    pd = pytest.importorskip("pandas", reason="frames need pandas")
    frame, told = comparison.to_pandas(), comparison.to_json()["strategies"]
    assert [*frame.index] == [s["name"] for s in told]
    for name, row in zip(frame.index, told, strict=True):
        for column in frame.columns:
            got = frame.loc[name, column]
            other = column.startswith("travel.") and column.split(".")[1] not in row["travel"]
            expected = None if other else at(row, column)
            assert pd.isna(got) if expected is None else got == expected
    assert frame["energy.electrical_kwh"].dtype == float
    assert frame.loc["drive", "excursions.lowest_stall_margin_percent"] > 10.0
    assert {"tracking.changes.0.overshoot_percent", "travel.speed.travel_percent"} <= {*frame}
    assert not [c for c in frame if "reasons" in c or "events." in c]


def test_a_strategy_without_measures_has_a_row_of_its_own() -> None:
    pd = pytest.importorskip("pandas", reason="frames need pandas")
    speed = np.full_like(RUNS[1].traces["speed_ratio"], np.nan)
    stopped = replace(RUNS[1], traces={**RUNS[1].traces, "speed_ratio": speed})
    stopped = replace(stopped, audit=replace(stopped.audit, stopped="at once"))
    frame = compare.compare([RUNS[0], stopped], CRITERIA).to_pandas()
    assert not frame.loc["drive", "meets_criteria"]
    assert pd.isna(frame.loc["drive", "energy.electrical_kwh"])


@pytest.mark.parametrize("part", [lambda c: c, lambda c: c.strategies[0].history],
                         ids=["comparison", "history"])
def test_without_pandas_a_sentence_says_what_to_do(
        part, comparison: api.Comparison, monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: object, **more: object) -> object:
        if name == "pandas":
            raise ModuleNotFoundError("No module named 'pandas'", name="pandas")
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(api.RunError, match=r"needs pandas, which is not installed: pip install"):
        part(comparison).to_pandas()


def test_a_pandas_that_is_broken_is_not_called_missing(
        comparison: api.Comparison, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "pandas", raising=False)

    def broken(name: str, *rest: object, **more: object) -> object:
        raise ModuleNotFoundError("No module named 'inner'", name="inner")

    with monkeypatch.context() as here, pytest.raises(ModuleNotFoundError, match="inner"):
        here.setattr(builtins, "__import__", broken)
        comparison.to_pandas()


def test_what_is_saved_can_be_read_again(tmp_path: Path) -> None:
    run = synthetic.history("drive", "variable speed", record_s=1.0)
    found = compare.compare([run], CRITERIA)
    written = api.save(found, str(tmp_path / "out"))
    assert {path.name for path in written} >= {"result.json", "report.html", "drive.npz"}
    assert json.loads((tmp_path / "out" / "result.json").read_text("utf-8")) == json.loads(
        json.dumps(found.to_json()))
    again = api.load_history(tmp_path / "out" / "drive.npz")
    assert np.array_equal(again.trace("fan_flow"), run.trace("fan_flow"))
    assert again.facts == run.facts


def test_a_folder_that_cannot_be_made_is_told_in_words(
        comparison: api.Comparison, tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(api.RunError, match="cannot be written"):
        api.save(comparison, tmp_path / "file")


def test_an_unknown_strategy_is_told_with_those_that_are_there() -> None:
    case = api.load("scenarios/ten-lines.toml")
    with pytest.raises(api.RunError, match=r"no strategy 'vanes'.*damper, variable-speed"):
        api.run(case, "vanes")


def test_the_usual_number_of_points_is_the_one_told() -> None:
    assert f"or {steady_map.POINTS}." in (api.operating_map.__doc__ or "")
