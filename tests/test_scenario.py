"""From a file to a case: places of keys, defaults told, schema, starter, broken files."""

import json
import string
import tomllib
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from simfan import scenario, units
from simfan.errors import Problem, ScenarioError, UnitError
from simfan.plant.case import Case
from simfan.scenario.lines import key_lines, line_of
from tests.test_bad_devices import BASE as DEVICES_BASE

ROOT = Path(__file__).parents[1]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.toml"))
KILN = ROOT / "scenarios" / "kiln-air.toml"


def _write(folder: Path, content: str | bytes) -> Path:
    path = folder / "case.toml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_every_scenario_of_the_project_loads(path: Path) -> None:
    """And fits the schema."""
    assert isinstance(scenario.load(path), Case)
    _schema_check(tomllib.loads(path.read_text("utf-8")))


def test_the_kiln_is_read_into_si() -> None:
    """Typed in from the file, converted by hand."""
    case = scenario.load(KILN)
    assert case.air.temperature == pytest.approx(303.15)
    assert case.fan.rated.speed == pytest.approx(103.67, abs=5e-3)  # 990·2π/60
    assert case.fan.flow[-1] == 75.0 and case.fan.static_pressure is not None
    assert case.fan.static_pressure[6] == 4878.0
    assert case.fan.shaft_power[6] == pytest.approx(183.6e3)
    assert case.control.scan == 0.25
    assert [s.method for s in case.strategies.values()] == [
        "outlet damper", "outlet damper", "inlet box damper", "inlet vanes", "variable speed",
        "vanes and speed", "vanes and speed", "vanes and speed"]
    assert [(e.at, e.changes, e.until) for e in case.timeline][-1] == (
        600.0, "process_resistance", 720.0)


def test_ten_lines_make_a_scenario() -> None:
    """The promise of the README: no line of it is a comment or empty."""
    text = (ROOT / "scenarios" / "ten-lines.toml").read_text("utf-8")
    assert len([line for line in text.splitlines() if line and line[0] != "#"]) <= 12


def test_us_and_si_units_give_the_same_case(tmp_path: Path) -> None:
    """12 ft is 3.6576 m, 86 °F is 30 °C, and so on."""
    text = KILN.read_text("utf-8")
    for si, us in (('"30 degC"', '"86 degF"'), ('"400 Pa"', '"1.6058515 in. w.g."'),
                   ('"280 kg m2"', '"6644.5 lb ft2"'), ('"315 kW"', '"422.42 hp"'),
                   ('"20 m"', '"65.6168 ft"'), ('"36 m3/s"', '"76279.7 cfm"')):
        assert si in text
        text = text.replace(si, us)
    si_case, us_case = scenario.load(KILN), scenario.load(_write(tmp_path, text))
    assert us_case.air.temperature == pytest.approx(si_case.air.temperature, abs=1e-9)
    for get in (lambda c: c.process.fixed_pressure, lambda c: c.fan.inertia,
                lambda c: c.motor.rating, lambda c: c.ductwork.discharge.length,
                lambda c: c.timeline[0].setpoint):
        assert get(us_case) == pytest.approx(get(si_case), rel=1e-5)


# Lines -------------------------------------------------------------------------------------------

TRICKY = '''\
title = "a # no comment [not.a.header] = 1"  # but this is one
"quoted.key" = 1
a.b . c = { d = [1, # one
  2, "]"], e.f = 3 }
'lit"eral' = """
[in.a.text]
x = "1"
""" # after
m = \'\'\'
it''s
\'\'\'

[ fan . "rated" ]
values = [
  [ 1, 2 ],
  { unit = "m3/s", values = [0,
    1] },
]
[[timeline]]
at = 1
[timeline.profile]
time = 2
[[timeline]]
[[timeline]]
at = "\\"3]"
'''

TRICKY_LINES = {
    ("title",): 1, ("quoted.key",): 2, ("a", "b", "c"): 3, ("a", "b", "c", "d"): 3,
    ("a", "b", "c", "d", 0): 3, ("a", "b", "c", "d", 1): 4, ("a", "b", "c", "d", 2): 4,
    ("a", "b", "c", "e", "f"): 4, ('lit"eral',): 5, ("m",): 9, ("fan", "rated"): 13,
    ("fan", "rated", "values"): 14, ("fan", "rated", "values", 0): 15,
    ("fan", "rated", "values", 0, 1): 15, ("fan", "rated", "values", 1, "unit"): 16,
    ("fan", "rated", "values", 1, "values", 1): 17, ("timeline",): 19, ("timeline", 0): 19,
    ("timeline", 0, "at"): 20, ("timeline", 0, "profile"): 21,
    ("timeline", 0, "profile", "time"): 22, ("timeline", 1): 23, ("timeline", 2): 24,
    ("timeline", 2, "at"): 25,
}


def test_lines_are_right_where_texts_and_brackets_mislead() -> None:
    """Counted by eye in TRICKY."""
    tomllib.loads(TRICKY)
    lines = key_lines(TRICKY)
    assert {path: lines.get(path) for path in TRICKY_LINES} == TRICKY_LINES


def _paths(tree: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Every path of what tomllib read."""
    inner = tree.items() if isinstance(tree, dict) else (
        enumerate(tree) if isinstance(tree, list) else ())
    for key, value in inner:
        yield (*path, key)
        yield from _paths(value, (*path, key))


_KEYS = st.text(string.ascii_letters + '."#= é', min_size=1, max_size=4)
_VALUES: st.SearchStrategy[Any] = st.recursive(
    st.one_of(st.integers(-99, 99), st.booleans(), st.text(max_size=8), st.floats(0, 9)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=3),
    max_leaves=12)


def _toml(value: Any) -> str:
    """A value as TOML, inline; lists over several lines."""
    if isinstance(value, dict):
        pairs = (f"{_toml(k)} = {_toml(v)}" for k, v in value.items())
        return "{ " + ", ".join(pairs) + " }"
    if isinstance(value, list):
        return "[ # a ] in a comment\n" + "".join(f"{_toml(v)},\n" for v in value) + "]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


@given(st.dictionaries(_KEYS, _VALUES, max_size=4), st.lists(st.dictionaries(
    _KEYS, _VALUES, max_size=2), max_size=3))
def test_every_key_that_tomllib_reads_has_a_line(
    top: dict[str, Any], events: list[dict[str, Any]]
) -> None:
    """The scan and the parser agree on every path, and each key stands on its line."""
    text = "".join(f"{_toml(k)} = {_toml(v)}\n" for k, v in top.items())
    for event in events:
        text += "[[ev.ents]]\n" + "".join(f"{_toml(k)} = {_toml(v)}\n"
                                         for k, v in event.items())
    tree, rows = tomllib.loads(text), text.split("\n")
    lines = key_lines(text)
    assert set(lines) == set(_paths(tree))
    for path, line in lines.items():
        if isinstance(path[-1], str) and path[0] != "ev":
            assert _toml(path[-1]) in rows[line - 1]


def test_a_missing_key_is_placed_at_the_table_that_lacks_it() -> None:
    """The nearest that stands in the file."""
    lines = {("fan",): 3, ("fan", "rated"): 5}
    assert line_of(("fan", "rated", "speed"), lines) == 5
    assert line_of(("fan", "inertia"), lines) == 3
    assert line_of(("motor", "rating"), lines) is None


def test_later_mistakes_get_their_place_too(tmp_path: Path) -> None:
    """As of a second stage that knows keys but no lines."""
    path = _write(tmp_path, '# a comment\n[fan]\nflow = { unit = "m3/s", values = [\n1,\n2] }\n')
    placed = scenario.place([Problem(("fan", "flow", "values", 1), "2", "less"),
                             Problem(("fan", "inertia"), "nothing", "some")], path)
    assert [(p.line, p.file) for p in placed] == [(2, "case.toml"), (5, "case.toml")]
    assert str(placed[1]) == "case.toml, line 5, fan.flow.values#2: got 2; allowed: less"


# Defaults, schema, starter -----------------------------------------------------------------------

def test_what_was_assumed_is_told_with_value_unit_and_source() -> None:
    """And what the file says is not."""
    told = scenario.assumed(scenario.load(KILN))
    assert "air.gas_constant = 287.05 J/(kg K) (default: dry air (ISO 2533: 287.053); " \
        "from memory)" in told
    assert "strategies.damper-at-fan.outlet_damper.lag = 0.5 s " \
        "(default: common practice, no source)" in told
    keys = [line.split(" ")[0] for line in told]
    assert "control.transmitter.dead_time" in keys and "fan.stall_flow" in keys
    assert not {"control.transmitter.lag", "air.temperature", "criteria.band"} & set(keys)


def test_a_default_written_into_the_file_is_no_longer_assumed(tmp_path: Path) -> None:
    """The same value, now the user's."""
    text = KILN.read_text("utf-8").replace("poles = 6", 'poles = 6\nslip = "1 %"')
    before, after = (scenario.load(p) for p in (KILN, _write(tmp_path, text)))
    gone = set(scenario.assumed(before)) - set(scenario.assumed(after))
    assert [line.split(" ")[0] for line in gone] == ["motor.slip"]


def _schema_check(tables: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator(scenario.schema()).validate(tables)


def test_the_schema_is_a_schema() -> None:
    """Of Draft 2020-12."""
    jsonschema.Draft202012Validator.check_schema(scenario.schema())


def _change(tables: dict[str, Any], keys: tuple[str, ...], value: Any) -> dict[str, Any]:
    inner = tables
    for key in keys[:-1]:
        inner = inner[key]
    inner[keys[-1]] = value
    return tables


@pytest.mark.parametrize(("keys", "value"), [
    (("control", "scan"), 0.25), (("control", "scan"), "0.25"), (("fan", "curve"), 1),
    (("motor", "poles"), "six"), (("fan", "flow"), [1, 2, 3]), (("timeline",), {}),
    (("strategies", "variable-speed", "speed", "ramp_up"), None),
    (("strategies", "damper-at-fan", "outlet_damper", "blades"), "wooden"),
])
def test_the_schema_refuses_what_the_reader_refuses(keys: tuple[str, ...], value: Any) -> None:
    """A number without unit, an unknown key, a wrong type, an unknown word."""
    tables = _change(tomllib.loads(KILN.read_text("utf-8")), keys, value)
    with pytest.raises(jsonschema.ValidationError):
        _schema_check(tables)


def test_defaults_in_the_schema_are_written_as_in_a_file() -> None:
    """With their unit; no null, which TOML does not have."""
    made = scenario.schema()
    assert made["$defs"]["Air"]["properties"]["temperature"]["default"] == "20 degC"
    assert "null" not in json.dumps(made)
    for part in made["$defs"].values():
        for told in part["properties"].values():
            for text in told.get("examples", []):
                assert any(_reads(text, kind) for kind in units.KINDS)


def _reads(text: str, kind: str) -> bool:
    try:
        return units.parse(text, kind) > 0
    except UnitError:
        return False


def test_the_starter_loads_and_shows_what_may_be_left_out(tmp_path: Path) -> None:
    """Every commented key, once uncommented, loads as well and changes nothing assumed."""
    text = scenario.starter()
    case = scenario.load(_write(tmp_path, text))
    lines = [line[2:] if line.startswith("# ") and " = " in line and line[2].islower()
             and line[2:].split(" = ")[0].isidentifier() else line for line in text.splitlines()]
    full = scenario.load(_write(tmp_path, "\n".join(lines)))
    shown = set(scenario.assumed(case)) - set(scenario.assumed(full))
    assert {line.split(" ")[0] for line in shown} >= {
        "fan.stall_flow", "motor.belt_ratio", "ductwork.inlet", "control.span",
        "ductwork.volume_side", "control.transmitter.square_root"}


def test_the_blocks_of_the_starter_that_are_commented_out_load_too(tmp_path: Path) -> None:
    """Each line that begins with "#" and no space is part of one; together they show all five ways
    of regulating a fan."""
    lines = [line[1:] if line[:1] == "#" and line[1:2] not in ("", " ") else line
             for line in scenario.starter().splitlines()]
    text = "\n".join(lines)
    case = scenario.load(_write(tmp_path, text))
    assert {s.method for s in case.strategies.values()} == {
        "outlet damper", "inlet box damper", "inlet vanes", "variable speed", "vanes and speed"}
    assert [e.changes for e in case.timeline][-4:] == [
        "manual_output", "automatic", "instrument_air", "instrument_air"]
    assert {"start", "stop", "run-back 1"} == set(case.procedure_steps)
    assert case.tags.loop
    assert case.trend
    assert case.trend.columns.time
    _schema_check(tomllib.loads(text))


def test_a_fingerprint_tells_contents_apart(tmp_path: Path) -> None:
    """SHA-256 of "abc" begins ba7816bf 8f01cfea (FIPS 180-2, appendix B.1)."""
    assert scenario.fingerprint("abc") == "ba7816bf8f01cfea"
    assert scenario.fingerprint(_write(tmp_path, "abc")) == "ba7816bf8f01cfea"
    assert scenario.fingerprint("abd") != scenario.fingerprint("abc")


# Randomly broken files ---------------------------------------------------------------------------

BYTES = KILN.read_bytes()
ROWS = BYTES.split(b"\n")


def _loads_or_tells(folder: Path, content: bytes) -> None:
    """Only a case or a ScenarioError whose every sentence names the file comes out."""
    path = _write(folder, content)
    try:
        case = scenario.load(path)
    except ScenarioError as error:
        assert error.problems
        assert all(problem.file == "case.toml" for problem in error.problems)
        assert all(str(problem).startswith("case.toml") for problem in error.problems)
        assert all("\n" not in str(problem) for problem in error.problems)
    else:
        assert isinstance(case, Case)
        assert scenario.assumed(case)


FUZZ = settings(max_examples=150, deadline=5000,
                suppress_health_check=[HealthCheck.function_scoped_fixture])


@FUZZ
@given(st.lists(st.tuples(st.integers(0, len(BYTES) - 1), st.integers(0, 3),
                          st.binary(max_size=4)), min_size=1, max_size=6))
def test_bytes_broken_at_random_never_end_in_a_traceback(
    tmp_path: Path, cuts: list[tuple[int, int, bytes]]
) -> None:
    """Some bytes cut out, others put in."""
    content = BYTES
    for at, length, put in cuts:
        content = content[:at] + put + content[at + length:]
    _loads_or_tells(tmp_path, content)


@FUZZ
@given(st.permutations(range(len(ROWS))), st.integers(0, len(ROWS)))
def test_lines_in_disorder_never_end_in_a_traceback(
    tmp_path: Path, order: list[int], kept: int
) -> None:
    """Keys under wrong sections, sections twice, lists torn apart."""
    _loads_or_tells(tmp_path, b"\n".join(ROWS[i] for i in order[:kept]))


TABLES = tomllib.loads(BYTES.decode())
PATHS = list(_paths(TABLES))
_ODD = st.one_of(st.none(), _VALUES, st.sampled_from([
    "1 s", "-5 %", "1e400 Pa", 10**400, "", "nan Pa", "0 m3/s", "1e9 m3/s", "1e-9 s", {}, [], -1,
    "before volume", "together", {"low": "1 Pa", "high": "2 Pa"}, {"unit": "%", "values": [0, 100]},
    {"unit": "m3/s", "values": []}, {"unit": "Pa", "values": [1, 2, 3]}, [{}]]))


@FUZZ
@example(changes=[(("control", "scan"), "1 ms"), (("run", "duration"), "30 d")])
@given(st.lists(st.tuples(st.sampled_from(PATHS), _ODD), min_size=1, max_size=4))
def test_values_exchanged_at_random_never_end_in_a_traceback(
    tmp_path: Path, changes: list[tuple[tuple[str | int, ...], Any]]
) -> None:
    """Any key gets any other value, or goes."""
    _loads_or_tells(tmp_path, _exchanged(TABLES, changes).encode())


DEVICES = tomllib.loads(DEVICES_BASE)


@FUZZ
@given(st.lists(st.tuples(st.sampled_from(list(_paths(DEVICES))), _ODD), min_size=1, max_size=2))
def test_values_of_devices_exchanged_at_random_never_end_in_a_traceback(
    tmp_path: Path, changes: list[tuple[tuple[str | int, ...], Any]]
) -> None:
    """The same for elements, sequences, measured curves and all kinds of events."""
    _loads_or_tells(tmp_path, _exchanged(DEVICES, changes).encode())


def _exchanged(
    start: dict[str, Any], changes: list[tuple[tuple[str | int, ...], Any]]
) -> str:
    tables = json.loads(json.dumps(start))
    for path, drawn in changes:
        value = deepcopy(drawn)  # drawn twice it must not be put into itself
        inner: Any = tables
        for key in path[:-1]:
            inner = inner[key] if (isinstance(inner, dict) and key in inner) or (
                isinstance(inner, list) and isinstance(key, int) and key < len(inner)) else {}
        if isinstance(inner, dict) and value is None:
            inner.pop(path[-1], None)
        elif isinstance(inner, dict):
            inner[path[-1]] = value
    return "".join(f"{_toml(k)} = {_toml(v)}\n" for k, v in tables.items())
