"""Measured curves from a file of comma-separated values, and mistakes in it with their lines."""

import tomllib
from pathlib import Path

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simfan import scenario
from simfan.errors import Problem, ScenarioError
from simfan.plant.case import Case

ROOT = Path(__file__).parents[1]
KILN = (ROOT / "scenarios" / "kiln-air.toml").read_text("utf-8")
NAMED = KILN + '''
[strategies.vanes]
controller = { gain = 0.6, reset = "5 s" }
inlet_vanes = { stroke_time = "10 s", family_file = "sheets/vanes.csv" }
'''
HERE = "strategies.vanes.inlet_vanes"
LINE = NAMED.count("\n")
"""Of the file of curves in the scenario."""

SHEET = '''\
# read from the maker's sheet
opening [%], flow [m3/s], static_pressure [Pa], shaft_power [kW], stall_flow [m3/s]
100,  0, 4160, 118.1,
100, 25, 4843, 163.6, 28
100, 45, 4373, 233.8,
100, 75,  505, 210.9,

30,   0, 4000,  92.0, 9
30,   8, 3600, 100.0,
30,  16, 2500, 110.0,
30,  24,  300, 112.0,
60,   0, 4100, 104.0,
60,  16, 4300, 130.0,
60,  32, 3300, 165.0,
60,  48,  900, 170.0,
'''


def _write(folder: Path, sheet: str | bytes, text: str = NAMED) -> Path:
    (folder / "sheets").mkdir(exist_ok=True)
    content = sheet if isinstance(sheet, bytes) else sheet.encode()
    (folder / "sheets" / "vanes.csv").write_bytes(content)
    path = folder / "kiln.toml"
    path.write_text(text, "utf-8")
    return path


def _problems(path: Path) -> list[Problem]:
    with pytest.raises(ScenarioError) as caught:
        scenario.load(path)
    return caught.value.problems


def test_a_sheet_is_read_into_a_family_by_rising_opening(tmp_path: Path) -> None:
    """Typed in from SHEET; rows of an opening stay in their order."""
    vanes = scenario.load(_write(tmp_path, SHEET)).strategies["vanes"].inlet_vanes
    assert vanes is not None and vanes.family is not None
    assert [curve.opening for curve in vanes.family] == pytest.approx([0.3, 0.6, 1.0])
    assert vanes.family[0].flow == (0.0, 8.0, 16.0, 24.0)
    assert vanes.family[0].static_pressure == (4000.0, 3600.0, 2500.0, 300.0)
    assert vanes.family[2].shaft_power == pytest.approx((118.1e3, 163.6e3, 233.8e3, 210.9e3))
    assert [curve.stall_flow for curve in vanes.family] == [9.0, None, 28.0]


def test_a_sheet_in_us_units_gives_the_same_family(tmp_path: Path) -> None:
    """SHEET turned into cfm, in. w.g. and hp: 1 cfm is 4.71947e-4 m³/s, 1 in. w.g. 249.089 Pa,
    1 hp 745.70 W. Columns turned about, lines ended as on Windows, headings in quotes."""
    lines = ['"Shaft Power [hp]",flow [cfm],opening [%],"static pressure [in. w.g.]",']
    for row in SHEET.splitlines()[2:]:
        if row:
            opening, flow, pressure, power, _ = (cell.strip() for cell in row.split(","))
            lines.append(f"{float(power) / 0.74570:.6f},{float(flow) / 4.71947e-4:.4f},"
                         f"{opening},{float(pressure) / 249.089:.6f},")
    us = scenario.load(_write(tmp_path, "\ufeff" + "\r\n".join(lines)))
    si = scenario.load(_write(tmp_path, SHEET))
    one, other = (case.strategies["vanes"].inlet_vanes for case in (si, us))
    assert one and other and one.family and other.family
    for mine, theirs in zip(one.family, other.family, strict=True):
        assert theirs.flow == pytest.approx(mine.flow, rel=1e-5)
        assert theirs.static_pressure == pytest.approx(mine.static_pressure, rel=1e-5)
        assert theirs.shaft_power == pytest.approx(mine.shaft_power, rel=1e-5)


MISTAKES = [
    # what is written, what stands there instead, line of the sheet, key after the element, words
    ("flow [m3/s], static", "flow, static", 2, "family_file", "flow without a unit"),
    ("flow [m3/s], static", "flow [kg/s], static", 2, "family_file",
     "kg/s is a unit of mass flow"),
    ("flow [m3/s], static", "volume [m3/s], static", 2, "family_file", "no column flow"),
    ("static_pressure", "static_presure", 2, "family_file", "did you mean static_pressure?"),
    ("stall_flow [m3/s]", "flow [m3/s]", 2, "family_file", "the column flow twice"),
    ("100, 25, 4843", "100, 25, 4843 Pa", 4, "family_file", "the unit stands in the heading"),
    ("100, 25, 4843", "100, 25, ", 4, "family_file", "an empty cell under static_pressure"),
    ("100, 25, 4843", "100, 25, 4,843", 4, "family_file", "got 6 values in a row; allowed: 5"),
    ("163.6, 28", "163.6", 4, "family_file", "got 4 values in a row; allowed: 5"),
    ("163.6, 28", "163.6, nan", 4, "family_file", 'got "nan" under stall_flow; allowed: a number'),
    ("30,   8, 3600, 100.0,", "30,   8, 3600, 100.0, 7", 9, "family_file",
     "a stall_flow of 7 beside 9 in line 8"),
    ("30,   8, 3600", "30,   8, 4600", 9, "family#1.static_pressure.values#2",
     "curves must not cross"),
    ("30,   8, 3600, 100", "30,   8, 3600,  10", 9, "family#1.shaft_power.values#2",
     "at least the air power"),
    ("60,  32,", "60,  12,", 14, "family#2.flow.values#3", "12 m3/s after 16 m3/s"),
    ("60,  48,  900, 170.0,\n", "", 12, "family#2.flow.values", "got 3 points"),
    ("92.0, 9", "92.0, 30", 8, "family#1.stall_flow", "below the last point, 0 m3/s to 24 m3/s"),
    ("100, 25, 4843", "100, 25, 5543", 4, "family#3.static_pressure.values#2",
     "near 4843 Pa, the fan's own curve"),
]


@pytest.mark.parametrize(("old", "new", "line", "key", "words"), MISTAKES,
                         ids=[m[4][:50] for m in MISTAKES])
def test_a_mistake_in_a_sheet_is_told_with_the_sheets_name_and_line(
    tmp_path: Path, old: str, new: str, line: int, key: str, words: str
) -> None:
    """Whether it is one of the table or one of the curves."""
    assert old in SHEET
    found = _problems(_write(tmp_path, SHEET.replace(old, new, 1)))
    said = [str(p) for p in found if words in str(p)]
    assert len(said) == 1, found
    assert said[0].startswith(f"vanes.csv, line {line}, {HERE}.{key}: got ")


@pytest.mark.parametrize(("old", "new", "words"), [
    ("sheets/vanes.csv", "sheets/vans.csv", "no file of this name; allowed: a file of curves; "
     "there is vanes.csv"),
    ("sheets/vanes.csv", "sheets", "a folder; allowed: a file of curves"),
    ("sheets/vanes.csv", "/sheets/vanes.csv", "a path from the root"),
    ('"sheets/vanes.csv"', "3", "a text in quotes"),
    ("family_file =", "family = [], family_file =", "both family and family_file"),
])
def test_a_sheet_that_cannot_be_read_is_told_where_it_is_named(
    tmp_path: Path, old: str, new: str, words: str
) -> None:
    """In the scenario file, on the line of the name, in one sentence."""
    found = _problems(_write(tmp_path, SHEET, NAMED.replace(old, new, 1)))
    assert [(p.file, p.line, p.key) for p in found] == [("kiln.toml", LINE, f"{HERE}.family_file")]
    assert words in str(found[0])


@pytest.mark.parametrize(("content", "words"), [
    (b"", "no rows of numbers"), (b"# only a remark\n", "no rows of numbers"),
    (SHEET.splitlines()[1].encode(), "no rows of numbers"),
    (SHEET.replace(",", ";").encode(), "columns parted by semicolons"),
    (SHEET.encode("utf-16"), "text in UTF-16"), (b"\0\0", "a binary file"),
    (b"opening [%]\n\xe9", "line 2, "), (b'a,"b\n', "a text that is no table"),
    (b"#" * 1_100_000, "a file of curves of at most 1000 kB"),
    (SHEET.encode() + b"90, 1, 2, 3,\n" * 30_000, "at most 20000 rows"),
])
def test_a_file_that_is_no_sheet_is_told_in_one_sentence(
    tmp_path: Path, content: bytes, words: str
) -> None:
    """Empty, of another kind, in another encoding, too large."""
    found = _problems(_write(tmp_path, content))
    assert len(found) == 1 and words in str(found[0]), found


def test_mistakes_of_both_files_are_told_at_once_the_scenarios_first(tmp_path: Path) -> None:
    """One in each."""
    sheet = SHEET.replace("100, 25, 4843", "100, 25, x")
    found = _problems(_write(tmp_path, sheet, NAMED.replace("poles = 6", "poles = 5")))
    assert [(p.file, p.key) for p in found] == [
        ("kiln.toml", "motor.poles"), ("vanes.csv", f"{HERE}.family_file")]


def test_later_mistakes_of_a_curve_get_the_sheets_line_too(tmp_path: Path) -> None:
    """As of a second stage that knows keys but no lines. Curve 2 is 60 %, its third row line 14."""
    keys = ("strategies", "vanes", "inlet_vanes", "family", 1)
    placed = scenario.place([Problem((*keys, "flow", "values", 2), "x", "y"),
                             Problem(("motor", "poles"), "x", "y")], _write(tmp_path, SHEET))
    assert [(p.file, p.line) for p in placed][1] == ("vanes.csv", 14)
    assert placed[0].file == "kiln.toml"


def test_the_fingerprint_of_a_scenario_covers_its_sheets(tmp_path: Path) -> None:
    """Another number in the sheet, another run."""
    before = scenario.fingerprint(_write(tmp_path, SHEET))
    assert scenario.fingerprint(_write(tmp_path, SHEET)) == before
    assert scenario.fingerprint(_write(tmp_path, SHEET.replace("163.6", "163.7"))) != before


def test_a_scenario_that_names_a_sheet_fits_the_schema() -> None:
    """So that an editor does not complain."""
    jsonschema.Draft202012Validator(scenario.schema()).validate(tomllib.loads(NAMED))


BYTES = SHEET.encode()


@settings(max_examples=150, deadline=5000,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(0, len(BYTES) - 1), st.integers(0, 3),
                          st.binary(max_size=4)), min_size=1, max_size=6))
def test_sheets_broken_at_random_never_end_in_a_traceback(
    tmp_path: Path, cuts: list[tuple[int, int, bytes]]
) -> None:
    """Only a case, or sentences that name their file, come out."""
    content = BYTES
    for at, length, put in cuts:
        content = content[:at] + put + content[at + length:]
    try:
        assert isinstance(scenario.load(_write(tmp_path, content)), Case)
    except ScenarioError as error:
        assert all(p.file in ("kiln.toml", "vanes.csv") and "\n" not in str(p)
                   for p in error.problems)
