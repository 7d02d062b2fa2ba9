"""Sheets: every cell filled, numbers rounded before they are run, files that come back from a
spreadsheet, and runs that come out bit for bit."""

import csv
import io
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from shutil import copytree

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from simfan import handover
from simfan.assemble.sequence import sequence
from simfan.assemble.transmitter import span
from simfan.compare import ScenarioNote, compare, judged
from simfan.errors import RunError, ScenarioError
from simfan.loops.equal import run
from simfan.plant.case import Case
from simfan.plant.protection import Protection
from simfan.plant.tags import Tags
from simfan.report.bound_words import PROOF
from simfan.report.procedures import never_begun
from simfan.scenario import load
from simfan.sheets import csvfile
from simfan.sheets.bundle import (
    as_typed,
    cells,
    sheets,
    with_own_controllers,
    with_span,
    with_tables,
)
from simfan.sheets.known import Known
from simfan.sheets.sheet import Sheet, Typed, sheet
from simfan.sheets.typed import rounded, same, typed, with_typed
from tests import synthetic

SCENARIOS = sorted(Path("scenarios").glob("*.toml"))
SMALL = Path("scenarios/ten-lines.toml")


def handed(path: Path, system: str = "si") -> Case:
    """The case with its sheets' numbers, but for gains that would have to be sought."""
    case = load(path)
    low, width = span(case)
    whole = with_span(case, (low, low + width), system)
    whole = with_tables(whole, {n: sequence(s.model_copy(update={"characteriser": None}))
                                for n, s in whole.strategies.items()})
    return as_typed(with_own_controllers(whole), system)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sheets of a small scenario, both strategies."""
    made = handover.prepared(load(SMALL), "si")
    runs = {name: run(made.tuned, name) for name in made.tuned.case.strategies}
    results = {name: judged(history, made.tuned.case.criteria) for name, history in runs.items()}
    known = Known(made.tuned.case, tuple(runs), results=results, sought=made.sought,
                  note=ScenarioNote("ten lines", "ten-lines.toml", "0123"),
                  fingerprints={n: handover.fingerprint(h) for n, h in runs.items()}, version="1")
    place = tmp_path_factory.mktemp("handed") / "sheets"
    handover.write(place, sheets(known), made.text, runs, made.sought)
    return place


@pytest.fixture
def mine(folder: Path, tmp_path: Path) -> Path:
    """A copy to change."""
    return Path(copytree(folder, tmp_path / "sheets"))


def replayed(place: Path) -> handover.Replayed:
    return handover.replayed(place, run)


def rewritten(path: Path, change: Callable[[list[list[str]]], list[list[str]]],
              delimiter: str = ",", encoding: str = "utf-8") -> None:
    """The file as a person saves it after a change."""
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"), newline="")))
    paper = io.StringIO()
    csv.writer(paper, delimiter=delimiter, quoting=csv.QUOTE_ALL).writerows(change(rows))
    path.write_bytes(paper.getvalue().encode(encoding, errors="replace"))


def put(path: Path, field: str, column: str, value: str) -> int:
    """Another value in the first line that speaks of a field; the line's number."""
    found: list[int] = []

    def change(rows: list[list[str]]) -> list[list[str]]:
        at = rows[0].index(column)
        row = next(r for r in rows[1:] if field in r)
        row[at] = value
        found.append(int(row[0]))
        return rows

    rewritten(path, change)
    return found[0]


def test_sheets_that_nobody_touched_come_out_bit_for_bit(folder: Path) -> None:
    found = replayed(folder)
    assert found.proved
    assert found.differences == ()
    assert len(found.runs) == 2
    for rerun in found.runs:
        np.testing.assert_array_equal(rerun.before.traces["fan_flow"],
                                      rerun.after.traces["fan_flow"], strict=True)


@pytest.mark.parametrize(("delimiter", "encoding"), [
    (",", "utf-8"), (";", "utf-8-sig"), ("\t", "utf-8"), (";", "cp1252")])
def test_what_a_spreadsheet_makes_of_a_file_is_read_back(mine: Path, delimiter: str, encoding: str
                                                         ) -> None:
    def saved(rows: list[list[str]]) -> list[list[str]]:
        """Decimal commas, trailing zeros, empty columns and rows, another order."""
        def cell(word: str) -> str:
            if delimiter == ";" and re.fullmatch(r"\d+\.\d+", word):
                return f"{word}0".replace(".", ",")
            return word

        head, *others = [[*map(cell, row), "", ""] for row in rows]
        return [head, *reversed(others), [""] * len(head)]

    listed = handover._list_of(mine)
    for path in mine.glob("*.csv"):
        rewritten(path, saved, delimiter, encoding)
    changed, typed_cells = handover.differences(mine, listed)
    assert [d for d in changed if d.typed] == []
    base = load(mine / handover.SCENARIO)
    assert all(same(base, cell) for cell, _, _ in typed_cells.values())
    if encoding.startswith("utf"):
        assert changed == ()


def test_a_changed_number_is_told_with_its_line_and_its_effect(mine: Path) -> None:
    # half the gain on the same lag: slower, so the integral of the error grows (Ti/Kc for a PI
    # after a load step, Åström and Hägglund; for a setpoint ramp the same way).
    line = put(mine / "tuning.csv", "gain", "Value", "0.4")
    found = replayed(mine)
    (difference,) = found.differences
    assert (difference.sheet, difference.line, difference.was, difference.now) == (
        "tuning", line, "0.8", "0.4")
    assert "gain" in difference.field
    assert difference.typed
    assert not found.proved
    changed = [r for r in found.runs if not r.identical]
    assert [r.strategy for r in changed] == ["damper"], "the other strategy kept its numbers"
    before, after = (judged(h, found.case.criteria).measures for h in
                     (changed[0].before, changed[0].after))
    assert before and after
    slow, quick = (m.tracking.whole.iae_percent_s or 0.0 for m in (after, before))
    assert slow > quick > 0.0


def test_a_unit_that_was_changed_changes_the_number(mine: Path) -> None:
    put(mine / "tuning.csv", "reset (integral time)", "Unit", "min")
    found = replayed(mine)
    assert [(d.was, d.now, d.typed) for d in found.differences] == [("s", "min", True)]
    assert found.case.strategies["damper"].controller is not None
    assert found.case.strategies["damper"].controller.reset == 240.0  # 4 min
    assert not found.proved


def test_a_number_in_other_words_is_no_change(mine: Path) -> None:
    put(mine / "tuning.csv", "gain", "Value", "0.800")
    assert replayed(mine).proved


def test_a_changed_remark_is_told_and_changes_no_run(mine: Path) -> None:
    put(mine / "tuning.csv", "gain", "Source", "the night shift")
    found = replayed(mine)
    assert [d.typed for d in found.differences] == [False]
    assert found.proved


def _without(rows: list[list[str]]) -> list[list[str]]:
    return [rows[0], *rows[2:]]


def _twice(rows: list[list[str]]) -> list[list[str]]:
    return [*rows, rows[1]]


def _more(rows: list[list[str]]) -> list[list[str]]:
    return [*rows, ["999", *rows[1][1:]]]


def _unnumbered(rows: list[list[str]]) -> list[list[str]]:
    return [rows[0], ["seven", *rows[1][1:]], *rows[2:]]


def _endless(rows: list[list[str]]) -> list[list[str]]:
    return [rows[0], ["inf", *rows[1][1:]], ["nan", *rows[2][1:]], *rows[3:]]


def _headless(rows: list[list[str]]) -> list[list[str]]:
    return [[h.replace("Value", "Wert") for h in rows[0]], *rows[1:]]


@pytest.mark.parametrize(("change", "words"), [
    (_without, "no line 1"), (_twice, "line 1 once more"), (_more, "a line 999 that was not there"),
    (_unnumbered, '"seven" as Line'), (_endless, '"inf" as Line'), (_headless, "no column Value")])
def test_lines_that_are_lost_or_added_are_told(
        mine: Path, change: Callable[[list[list[str]]], list[list[str]]], words: str) -> None:
    rewritten(mine / "tuning.csv", change)
    with pytest.raises(ScenarioError) as told:
        replayed(mine)
    assert words in str(told.value)
    assert "tuning.csv" in str(told.value)


@pytest.mark.parametrize(("field", "column", "value", "words"), [
    ("gain", "Value", "fast", '"fast"'),
    ("gain", "Value", "-1", "-1"),
    ("reset (integral time)", "Value", "4 s", "its unit is s, beside it"),
    ("reset (integral time)", "Unit", "kPa", "kPa"),
    ("form", "Value", "serial", "serial"),
    ("output low limit", "Value", "120", "120")])
def test_a_cell_that_is_no_such_number_is_told_by_its_line(
        mine: Path, field: str, column: str, value: str, words: str) -> None:
    line = put(mine / "tuning.csv", field, column, value)
    with pytest.raises(ScenarioError) as told:
        replayed(mine)
    assert words in str(told.value)
    assert f"tuning.csv, line {line}," in str(told.value), "the line as its first column has it"


def test_cells_of_two_sheets_that_are_no_numbers_are_told_at_once(mine: Path) -> None:
    put(mine / "tuning.csv", "gain", "Value", "fast")
    put(mine / "tuning.csv", "reset (integral time)", "Value", "4 s")
    put(mine / "devices.csv", "rating", "Value", "2l")
    with pytest.raises(ScenarioError) as told:
        replayed(mine)
    assert sorted(p.file or "" for p in told.value.problems) == [
        "devices.csv", "tuning.csv", "tuning.csv"]


def test_all_mistakes_of_all_sheets_are_told_at_once(mine: Path) -> None:
    rewritten(mine / "tuning.csv", _without)
    (mine / "alarms.csv").unlink()
    with pytest.raises(ScenarioError) as told:
        replayed(mine)
    assert {p.file for p in told.value.problems} == {"tuning.csv", "alarms.csv"}


def test_a_folder_without_sheets_is_told_with_where_they_may_be(folder: Path, tmp_path: Path
                                                                ) -> None:
    with pytest.raises(RunError, match=r"did you mean .*sheets"):
        replayed(folder.parent)
    with pytest.raises(RunError, match="holds no sheets"):
        replayed(tmp_path)


def test_a_scenario_that_is_not_as_it_was_written_is_told(mine: Path) -> None:
    path = mine / handover.SCENARIO
    path.write_text(path.read_text("utf-8").replace("strategies.damper", "strategies.other"),
                    encoding="utf-8")
    with pytest.raises(RunError, match=r"has no strategies\.damper"):
        replayed(mine)


def test_a_run_that_cannot_be_read_is_told(mine: Path) -> None:
    path = mine / "damper.npz"
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(RunError, match=r"damper\.npz cannot be read"):
        replayed(mine)


def test_a_folder_that_is_not_whole_is_told(mine: Path) -> None:
    (mine / "damper.npz").unlink()
    with pytest.raises(RunError, match=r"not whole: damper\.npz is missing"):
        replayed(mine)


@pytest.mark.parametrize("text", ["", "[]", '{"simfan": "1"}', '{"simfan": "1", "sought": [], '
                                  '"runs": {"damper": 1}, "sheets": {}, "typed": []}',
                                  '{"simfan": "1", "sought": [], "runs": {}, "sheets": {}, '
                                  '"typed": [{"sheet": "tuning", "line": 1, "column": "Value", '
                                  '"path": [], "unit": ""}]}'])
def test_a_list_that_is_not_as_it_was_written_is_told(mine: Path, text: str) -> None:
    (mine / handover.LIST).write_text(text, encoding="utf-8")
    with pytest.raises(RunError, match="as it was written"):
        replayed(mine)


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_every_cell_is_filled_or_says_why_not(path: Path) -> None:
    case = handed(path)
    for one in sheets(Known(case, tuple(case.strategies))):
        assert one.rows
        for row in one.text:
            assert all(cell.strip() for cell in row), (one.key, row)
            empty = [cell for cell in row if cell == "n/a"]
            reasons = [cell for cell in row if cell.startswith("n/a: ") and len(cell) > 8]
            assert not empty or reasons or one.key == "record", (one.key, row)


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
@pytest.mark.parametrize("system", ["si", "us"])
def test_the_case_has_just_the_numbers_that_are_typed(path: Path, system: str) -> None:
    case = handed(path, system)
    for cell in cells(sheets(Known(case, tuple(case.strategies), system))).values():
        assert same(case, cell)
        if re.fullmatch(r"[-\d.]+", cell.text):
            assert len(cell.text.strip("-0").replace(".", "").strip("0")) <= 4, cell


def test_rounding_moves_a_number_by_no_more_than_its_digits() -> None:
    case = handed(Path("scenarios/dryer-us.toml"))
    given = load("scenarios/dryer-us.toml")
    for cell in cells(sheets(Known(case, tuple(case.strategies)))).values():
        if cell.path[:1] == ("strategies",) and cell.path[2] == "speed":
            here = getattr(case.strategies[str(cell.path[1])].speed, str(cell.path[3]))
            then = getattr(given.strategies[str(cell.path[1])].speed, str(cell.path[3]))
            if isinstance(here, float):
                assert here == pytest.approx(then, rel=5e-4)


@given(st.floats(1e-6, 1e6), st.integers(2, 6))
def test_rounded_up_is_never_less_and_never_a_digit_more(value: float, digits: int) -> None:
    up = float(rounded(value, up=True, digits=digits))
    assert value * (1.0 - 1e-12) <= up <= value * (1.0 + 10.0 ** (1 - digits)) * (1.0 + 1e-12)
    assert abs(float(rounded(value, digits=digits)) - value) <= 0.5001 * 10.0 ** (
        np.floor(np.log10(value)) - digits + 1)


def test_an_order_of_two_elements_is_typed_as_the_table_it_stands_for() -> None:
    path = Path("scenarios/kiln-air.toml")
    given, made = load(path), handed(path)
    for name in ("vanes-then-speed", "speed-then-vanes", "vanes-with-speed"):
        for element, points in sequence(given.strategies[name]).items():
            at, wanted = zip(*points, strict=True)
            typed_at, typed_to = zip(*sequence(made.strategies[name])[element], strict=True)
            x = np.linspace(0.0, 1.0, 101)
            assert np.interp(x, typed_at, typed_to) == pytest.approx(np.interp(x, at, wanted),
                                                                     abs=5e-4)


def test_a_default_stays_a_default() -> None:
    case = handed(SMALL)
    assert "lag" not in case.control.transmitter.model_fields_set
    assert "efficiency" not in case.motor.model_fields_set


def risky(words: str) -> bool:
    """Whether a spreadsheet may take it for a formula (OWASP, "CSV Injection")."""
    return words.startswith(("=", "+", "-", "@", "\t", "\r")) and not re.fullmatch(
        r"[+-]?[\d.]+(e[+-]?\d+)?", words)


@pytest.mark.parametrize("words", ["=1+1", "+1+1|x", "-2+3", "@SUM(A1)", "=HYPERLINK(\"http://x\")"])
def test_words_of_a_scenario_are_no_formula(words: str) -> None:
    case = handed(SMALL)
    known = Known(case, ("damper",), note=ScenarioNote(words, words, words), version=words)
    for one in sheets(known):
        for row in csv.reader(io.StringIO(csvfile.text(one), newline="")):
            assert not any(risky(cell) for cell in row), row


@given(st.lists(st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp", "Zs"),
                                      include_characters=" ,;\"'=+-@")), min_size=1, max_size=5))
def test_any_words_come_back_from_a_file(tmp_path_factory: pytest.TempPathFactory,
                                         words: list[str]) -> None:
    told = [w.strip(" \ufeff\u00a0") or "x" for w in words]
    made = sheet("any", "", "", ("What",), ({"What": w} for w in told), "none")
    path = tmp_path_factory.mktemp("any") / "any.csv"
    path.write_bytes(csvfile.text(made).encode("utf-8-sig"))
    found = csvfile.read(path, made.columns)
    assert [found[k].cells["What"] for k in sorted(found)] == told


def test_a_negative_number_stays_a_number() -> None:
    assert csvfile.guarded("-500") == "-500"
    assert csvfile.guarded("-5e-3") == "-5e-3"
    assert csvfile.guarded("-x") == "'-x"


def rows_of(key: str, case: Case) -> list[dict[str, str]]:
    one = next(s for s in sheets(Known(case, tuple(case.strategies))) if s.key == key)
    return [dict(zip(one.columns, row, strict=True)) for row in one.text]


def test_alarms_carry_their_fields_and_leave_priority_to_the_site() -> None:
    # ANSI/ISA-18.2: priority is the outcome of rationalisation; from memory.
    rows_asked = (Protection(stall_margin=0.05, after=5.0, effect="alarm"),
                  Protection(overload=1.05, time_constant=600.0, effect="trip"),
                  Protection(highest_pressure=4500.0, effect="run back", output=0.3))
    case = handed(SMALL).model_copy(update={"protection": rows_asked})
    found = rows_of("alarms", case)
    assert [r["Type"] for r in found] == ["alarm", "trip", "run back"]
    assert [(r["Setpoint"], r["Unit"]) for r in found] == [("5", "%"), ("105", "%"), ("4500", "Pa")]
    assert next(r["On-delay [s]"] for r in found) == "5"
    assert {r["Priority"] for r in found} == {"n/a: by the site's rationalisation"}
    assert found[2]["Output on it [%]"] == "30"
    trips = [r["Motor loses its supply"] for r in rows_of("cause-and-effect", case)]
    assert [t == "X" for t in trips] == [False, True, False]


def test_the_override_table_says_who_yields_to_whom() -> None:
    rows = rows_of("overrides", handed(Path("scenarios/roaster-limits.toml")))
    loads = [r for r in rows if "motor load" in r["Block"] and r["Field"].startswith("limit")]
    assert loads
    # More output loads the motor more, so its limiter takes the lower of the two outputs.
    assert {r["Selector"] for r in loads} == {"low select"}
    assert {r["External reset from"] for r in rows if "override" in r["Block"]} == {
        "the selected output"}


def test_what_was_not_modelled_is_on_the_basis_sheet() -> None:
    rows = rows_of("basis", handed(SMALL))
    assert sum(r["Subject"] == "not modelled" for r in rows) >= 5
    assert any("motor.slip" in r["Statement"] and r["Source"] for r in rows)


def tagged(case: Case, **tags: object) -> Case:
    return case.model_copy(update={"tags": Tags(**tags)})  # type: ignore[arg-type]


def test_tags_of_the_scenario_stand_on_the_sheets() -> None:
    case = tagged(handed(SMALL), loop="FIC-101", transmitter="FT-101", motor="M-101",
                  outlet_damper="FV-101")
    found = {s.key: s for s in sheets(Known(case, ("damper",)))}

    def tags(key: str) -> Iterator[str]:
        return (row.words("Tag") for row in found[key].rows)

    assert {"FIC-101", "FT-101"} <= set(tags("tuning"))
    assert {"M-101", "FV-101", "FT-101"} <= set(tags("devices"))


@pytest.mark.parametrize(("lines", "words"), [
    ('tags = { loop = "=1+1" }', 'tags.loop: got "=1+1"'),
    ('tags = { loop = "FIC-1", motor = "fic-1" }', "more than once"),
    ('tags = { lop = "FIC-1" }', "loop"),
    ('tags = { alarms = ["FAH-1"] }', "1 tags for 0 rows")])
def test_tags_that_cannot_be_are_told(tmp_path: Path, lines: str, words: str) -> None:
    path = tmp_path / "scenario.toml"
    path.write_text(f"{lines}\n{SMALL.read_text(encoding='utf-8')}", encoding="utf-8")
    with pytest.raises(ScenarioError) as told:
        load(path)
    assert words in str(told.value)


def test_a_cell_knows_its_unit() -> None:
    case = handed(Path("scenarios/dryer-us.toml"), "us")
    assert typed(case, ("control", "span", "high"), "us") == Typed(
        ("control", "span", "high"), typed(case, ("control", "span", "high"), "us").text, "cfm")


def test_a_sheet_with_a_column_left_out_is_refused() -> None:
    with pytest.raises(ValueError, match="nothing in B"):
        sheet("x", "", "", ("A", "B"), [{"A": "1"}], "none")
    assert isinstance(sheet("x", "", "", ("A", "B"), [], "none"), Sheet)


def test_start_and_stop_stand_step_by_step_with_permissives_and_limits() -> None:
    """In the order of the run's own steps, each with what ends it."""
    case = load(Path("scenarios/lime-kiln-start.toml"))
    made = sheets(Known(case, tuple(case.strategies)))
    rows = next(s for s in made if s.key == "procedures").rows
    assert [r.words("Procedure") for r in rows if r.words("Step") != "setting"] == [
        name for name, steps in case.procedure_steps.items() for _ in steps]
    purge = next(r for r in rows if r.words("Action").startswith("purge"))
    assert purge.words("At most [s]") == "600"
    assert purge.words("If it is not met") == "the procedure ends: purge not proven in 600 s"
    permit = next(r for r in rows if r.words("Action") == "permissives")
    assert "no more starts than the motor's maker permits" in permit.words("Permissive")


def test_every_number_of_a_procedure_is_typed_in() -> None:
    """Every key of the tables that are there, but for causes of a run-back that are not its own."""
    case = load(Path("scenarios/lime-kiln-start.toml"))
    typed_in = cells(sheets(Known(case, tuple(case.strategies))))
    found = {path for path in typed_in if path[0] == "procedures"}
    assert case.procedures
    for at, table in (("start", case.procedures.start), ("stop", case.procedures.stop),
                      ("restart", case.procedures.restart)):
        for key, value in table or ():
            if value is not None and key != "purge":
                assert ("procedures", at, key) in found
    assert case.procedures.start
    for key, _ in case.procedures.start.purge or ():
        assert ("procedures", "start", "purge", key) in found
    assert {p[3] for p in found if p[1] == "run_back"} == {"stall_margin_below", "after",
                                                          "setpoint", "over"}


def test_a_changed_number_of_a_procedure_is_part_of_the_run() -> None:
    case = as_typed(load(Path("scenarios/lime-kiln-start.toml")))
    lasts, backs = ("procedures", "start", "purge", "lasts"), ("procedures", "run_back", 0, "over")
    made = with_typed(case, {lasts: Typed(lasts, "1.5", "min"), backs: Typed(backs, "20", "s")})
    assert made.procedures
    assert made.procedures.start
    assert made.procedures.start.purge
    assert made.procedures.start.purge.lasts == 90.0
    assert made.procedures.run_back[0].over == 20.0


def test_a_surge_count_and_its_reset_stand_in_the_alarm_list() -> None:
    case = load(Path("scenarios/gypsum-dryer.toml")).model_copy(update={"protection": (
        Protection(surge_cycles=3, window=60.0, effect="trip"),
        Protection(lowest_pressure=-500.0, effect="alarm", reset="by itself", reset_after=5.0))})
    made = {s.key: s for s in sheets(Known(case, tuple(case.strategies)))}
    surge, low = made["alarms"].rows
    assert [surge.words(c) for c in ("Setpoint", "Window [s]", "On-delay [s]")] == [
        "3", "60", "n/a: its window rules"]
    assert low.words("Off-delay [s]") == "5"
    assert [r.words("Reset") for r in made["cause-and-effect"].rows] == [
        "by hand, at the next start", "by itself after 5 s"]


def test_a_start_that_no_run_began_is_on_the_record_as_not_tested() -> None:
    """A signature below it must not be read as one for the start."""
    case = load(Path("scenarios/lime-kiln-start.toml"))
    name = next(iter(case.strategies))
    case = case.model_copy(update={"timeline": ()})
    run_ = synthetic.history(name)
    steps = {n: tuple(s.words for s in steps) for n, steps in case.procedure_steps.items()}
    result = judged(replace(run_, facts=replace(run_.facts, procedure_steps=steps)), case.criteria)
    known = Known(case, (name,), results={name: result})
    rows = next(s for s in sheets(known) if s.key == "record").rows
    told = {r.words("Criterion"): r.words("Result") for r in rows}
    assert told["start"] == told["stop"] == "not tested"
    lines = list(never_begun(compare([result.history], case.criteria)))
    assert lines == ["start", "stop"], "a restart and a run-back wait for their cause"


def test_what_a_start_stands_on_is_held_against_the_data_sheet() -> None:
    case = load(Path("scenarios/lime-kiln-start.toml"))
    rows = next(s for s in sheets(Known(case, tuple(case.strategies))) if s.key == "devices").rows
    found = {(r.words("Device"), r.words("Field")): r.words("Value") for r in rows}
    assert found["motor", "locked-rotor time, cold"] == "15"
    assert found["motor", "starts permitted, the first cold"] == "2"
    assert ("whole rotor", "inertia, at the fan's speed") in found
    assert ("isolation damper", "stroke time") in found


def test_the_tag_of_a_purge_is_that_of_the_flow_held() -> None:
    case = tagged(load(Path("scenarios/lime-kiln-start.toml")), transmitter="FT-101")
    rows = next(s for s in sheets(Known(case, tuple(case.strategies)))
                if s.key == "procedures").rows
    assert next(r for r in rows if r.words("Action").startswith("purge")).words("Tag") == "FT-101"


def shown(found: handover.Replayed) -> str:
    """What a terminal shows of it, in one line."""
    console = Console(file=io.StringIO(), width=100, record=True)
    console.print(PROOF.text(found, "si"))
    return " ".join(console.export_text().split())


def test_what_a_run_cannot_show_is_told(mine: Path) -> None:
    put(mine / "tuning.csv", "reset (integral time)", "Unit", "ms")
    put(mine / "tuning.csv", "reset (integral time)", "Value", "4000")
    assert "the same number in another unit" in shown(replayed(mine))
    put(mine / "tuning.csv", "feedforward", "Value", "0.5")
    assert "a setting that was never tested" in shown(replayed(mine))


def test_a_changed_scenario_under_unchanged_sheets_is_told(mine: Path) -> None:
    file = mine / handover.SCENARIO
    text = file.read_text("utf-8")
    assert 'volume = "30.0 m3"' in text
    file.write_text(text.replace('volume = "30.0 m3"', 'volume = "90.0 m3"'), "utf-8")
    assert "look at the scenario.toml" in shown(replayed(mine))


def test_no_unit_is_called_one() -> None:
    """In "poles, 4, 1" the last could be read as a second number."""
    case = load(Path("scenarios/lime-kiln-start.toml"))
    rows = [r for s in sheets(Known(case, tuple(case.strategies))) if "Unit" in s.columns
            for r in s.rows]
    assert "1" not in {r.words("Unit") for r in rows}
    poles = next(r for r in rows if r.cells.get("Field") == "poles")
    assert poles.words("Unit") == "n/a: a plain number"
    root = next(r for r in rows if r.cells.get("Field") == "square root in the transmitter")
    assert (root.words("Value"), root.words("Unit")) == ("no", "n/a: a word")
