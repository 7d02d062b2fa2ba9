"""The year of a load profile: what is read, what is summed, and what is said where sums mislead.

Numbers are closed forms of made-up maps, computed by hand beside the checks."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from simfan import scenario
from simfan.errors import Problem, ScenarioError
from simfan.metrics.demand import met, one_way, power_error
from simfan.metrics.year import YearEnergy, years
from simfan.operating_map import STABLE, OperatingPoint, StrategyMap, Turndown
from simfan.plant.case import Case
from tests.test_bad_files import BASE

# A made-up map -----------------------------------------------------------------------------------

def point(held: float, kw: float, missed: tuple[str, ...] = (), reached: bool = True,
          flow: float | None = None) -> OperatingPoint:
    """A flow held, of which all but power is of no matter; the shaft takes nine tenths."""
    return OperatingPoint(
        held=held, output=0.5, positions={}, blade_angles={}, taken={},
        flow=held if flow is None else flow, mass_flow=held, pressure=1e3, volume_pressure=1e3,
        density=1.2, speed=1.0, stall_flow=None, shaft_power=900.0 * kw,
        electrical_power=1e3 * kw, current=1.0, motor_load=0.5, efficiency=0.8, stability=STABLE,
        fan_slope=-1.0, system_slope=1.0, critical_volume=None, missed=missed, reached=reached)


def strategy(name: str, points: list[OperatingPoint]) -> StrategyMap:
    within = [p for p in points if not p.missed]
    ends = Turndown(within[0] if within else None, within[-1] if within else None, "top", "bottom")
    return StrategyMap(name, "a method", ("an element",), tuple(points), (), ends, (), None)


def on_line(name: str, a: float, b: float, low: float = 10.0, high: float = 50.0) -> StrategyMap:
    """Power a + b·Q [kW], at nine points by falling flow."""
    return strategy(name, [point(q, a + b * q) for q in np.linspace(high, low, 9)])


def case(tmp_path: Path, demand: str, hours: str, rest: str = "", costs: str = "",
         energy: str = "price_per_kwh = 0.1\ncurrency = \"EUR\"") -> Case:
    text = BASE + (f"[energy]\n{energy}\n[year]\nprofile = {{ demand = {{ unit = \"m3/s\", "
                   f"values = {demand} }}, hours = {hours} }}\n{rest}\n")
    for pair in filter(None, costs.split()):
        name, cost = pair.split("=")
        text = text.replace(f"[strategies.{name}]\n",
                            f"[strategies.{name}]\ninstalled_cost = {cost}\n")
    path = tmp_path / "loft.toml"
    path.write_text(text, "utf-8")
    return scenario.load(path)


Ask = Callable[..., dict[str, YearEnergy]]


@pytest.fixture
def ask(tmp_path: Path) -> Ask:
    def asked(maps: list[StrategyMap], *words: str, **more: str) -> dict[str, YearEnergy]:
        return years(maps, case(tmp_path, *words, **more))
    return asked


# Sums --------------------------------------------------------------------------------------------

def test_power_that_is_linear_in_flow_integrates_exactly(ask: Ask) -> None:
    """Σ(20 + 4Q)h at 45, 31.7 and 12 m³/s: 200·1000 + 146.8·3000 + 68·4760 = 964 080 kWh; the
    volume is 3600·(45·1000 + 31.7·3000 + 12·4760) = 709 992 000 m³."""
    found = ask([on_line("drive", 20.0, 4.0)], "[45, 31.7, 12]", "[1000, 3000, 4760]",
                rest="co2_per_kwh = 0.3")["drive"]
    assert found.electrical_kwh == pytest.approx(964_080.0, rel=1e-12)
    assert found.shaft_kwh == pytest.approx(0.9 * 964_080.0, rel=1e-12)
    assert found.kwh_per_1000_m3 == pytest.approx(964_080.0 / 709_992.0, rel=1e-12)
    assert found.cost == pytest.approx(96_408.0, rel=1e-12)
    assert found.co2_kg == pytest.approx(0.3 * 964_080.0, rel=1e-12)
    assert (found.hours, found.hours_served, found.hours_not_reachable) == (8760.0, 8760.0, 0.0)
    assert found.interpolation_error_percent == pytest.approx(0.0, abs=1e-9)
    assert found.notes == ()


def test_the_error_of_straight_lines_is_that_of_a_parabola() -> None:
    """P = Q² over points at 1 to 5: a line over 1 and 3 gives 5 at 2 instead of 4, so 25 %; over 3
    and 5 it gives 17 instead of 16, 6.25 %."""
    points = [point(q, q * q) for q in (5.0, 4.0, 3.0, 2.0, 1.0)]
    assert power_error(strategy("it", points)) == pytest.approx(25.0)
    assert power_error(strategy("it", points[:2])) is None


def test_bins_share_out_all_hours_and_all_energy(ask: Ask) -> None:
    """Few demands make a bin each; many ten of equal width, of the same sums."""
    few = ask([on_line("drive", 20.0, 4.0)], "[45, 12, 45]", "[1000, 3000, 500]")["drive"]
    assert [(b.low, b.high, b.hours) for b in few.bins] == [(12, 12, 3000), (45, 45, 1500)]
    assert [b.electrical_kwh for b in few.bins] == pytest.approx([68.0 * 3000, 200.0 * 1500])
    demand = [10.0 + 0.2 * k for k in range(201)]
    many = ask([on_line("drive", 20.0, 4.0)], str(demand), str([10] * 201))["drive"]
    assert [b.low for b in many.bins] == pytest.approx([10.0 + 4.0 * k for k in range(10)])
    assert sum(b.hours for b in many.bins) == many.hours == 2010.0
    assert sum(b.electrical_kwh or 0.0 for b in many.bins) == pytest.approx(many.electrical_kwh)


def test_hours_that_are_no_year_are_said_and_never_scaled(ask: Ask) -> None:
    found = ask([on_line("drive", 0.0, 1.0)], "[20, 30]", "[100, 200]")["drive"]
    assert found.electrical_kwh == pytest.approx(8000.0)
    assert "has 300 h, a year 8760 h" in found.notes[0]


# What cannot be served ---------------------------------------------------------------------------

def test_a_demand_out_of_the_range_is_reported_never_clipped(ask: Ask) -> None:
    """Range 10 to 50 m³/s; the ends themselves belong to it."""
    found = ask([on_line("drive", 20.0, 4.0)], "[50, 50.01, 9.99, 10]",
                "[1000, 300, 460, 7000]")["drive"]
    assert found.hours_not_reachable == 760.0 and found.hours_served == 8000.0
    assert found.electrical_kwh == pytest.approx(220.0 * 1000 + 60.0 * 7000)
    assert [b.electrical_kwh for b in found.bins if b.hours_not_reachable] == [None, None]
    assert all(b.reasons for b in found.bins if b.electrical_kwh is None)
    assert any("760 h are at a demand that the strategy cannot give" in n for n in found.notes)


def test_a_fan_that_reaches_no_demand_has_no_energy_and_says_why(ask: Ask) -> None:
    found = ask([on_line("drive", 20.0, 4.0)], "[60]", "[8760]")["drive"]
    missing = {name for name, value in vars(found).items() if value is None}
    assert {"electrical_kwh", "shaft_kwh", "kwh_per_1000_m3", "cost"} <= missing
    assert missing <= set(found.reasons) and all(found.reasons.values())


def test_a_flow_of_zero_is_a_fan_that_stands(ask: Ask) -> None:
    """It takes nothing, and is served."""
    found = ask([on_line("drive", 20.0, 4.0)], "[0, 20]", "[760, 8000]")["drive"]
    assert (found.hours_standing, found.hours_served) == (760.0, 8760.0)
    assert found.electrical_kwh == pytest.approx(100.0 * 8000)
    assert found.kwh_per_1000_m3 == pytest.approx(1e3 * 800_000.0 / (3600.0 * 20.0 * 8000.0))


def test_hours_beyond_a_limit_are_counted_apart(ask: Ask) -> None:
    """Points at 40, 30, 20, 10, the last two beyond a limit, and an end of the turndown at 25: the
    limit is kept at 30 and 25, not at 24.9, 20 and 12; all of them are reachable."""
    bad = ("left of the peak",)
    made = strategy("it", [point(40, 40), point(30, 30), point(20, 20, bad), point(10, 10, bad)])
    made = StrategyMap(**{**vars(made), "turndown": Turndown(point(40, 40), point(25, 25), "", "")})
    found = ask([made], "[30, 25, 24.9, 20, 12]", "[1, 2, 4, 8, 16]")["it"]
    assert found.hours_out_of_criteria == 28.0 and found.hours_served == 31.0
    assert any("28 h are beyond a limit (left of the peak)" in note for note in found.notes)
    lost = strategy("it", [point(40, 40), point(30, 30, reached=False), point(20, 20)])
    assert ask([lost], "[40, 35, 20]", "[1, 2, 4]")["it"].hours_out_of_criteria == 2.0


def test_where_the_held_value_turns_back_the_rest_is_left_out() -> None:
    """Pressure held, the damper behind the volume: 1, 3, 4 kPa, then 2 left of the peak. At 2 kPa
    the power is that of the right branch, 50 + 10·½ = 55 kW."""
    made = strategy("it", [point(1e3, 50.0, flow=60.0), point(3e3, 60.0, flow=40.0),
                           point(4e3, 45.0, flow=30.0), point(2e3, 10.0, flow=10.0)])
    here = met(made, np.array([2e3, 4e3, 0.0]), holds_flow=False)
    assert here.turns_back and here.kw[:2] == pytest.approx([55.0, 45.0])
    assert np.isnan(here.kw[2]) and not here.standing.any()
    assert one_way(made.points[:3]) == (made.points[:3], False)


# Beside the baseline -----------------------------------------------------------------------------

def test_payback_is_extra_cost_over_saving(ask: Ask) -> None:
    """The damper takes 120 + 2Q, the drive 20 + 4Q: at 30 m³/s 180 and 140 kW, 40·8760·0.1 = 35 040
    EUR a year; (160 000 − 20 000)/35 040 = 3.9954 a."""
    found = ask([on_line("damper", 120.0, 2.0), on_line("drive", 20.0, 4.0)], "[30]", "[8760]",
                rest='baseline = "damper"', costs="damper=20000 drive=160000")
    assert found["drive"].saved_kwh == pytest.approx(350_400.0)
    assert found["drive"].saving == pytest.approx(35_040.0)
    assert found["drive"].payback_years == pytest.approx(3.9954, abs=5e-5)
    assert found["damper"].payback_years is None
    assert found["damper"].reasons["payback_years"] == "it is the baseline"
    assert found["drive"].hours_compared == 8760.0


@pytest.mark.parametrize(("power", "more", "key", "words"), [
    (300.0, {"costs": "damper=1 drive=2"}, "payback_years", "it saves nothing"),
    (20.0, {"costs": "damper=1"}, "payback_years", "installed_cost of the strategy is not given"),
    (20.0, {"costs": "drive=1"}, "payback_years", "installed_cost of the baseline is not given"),
    (20.0, {"energy": ""}, "payback_years", "energy.price_per_kwh is not given"),
    (20.0, {"energy": ""}, "saving", "energy.price_per_kwh is not given"),
    (20.0, {"rest": ""}, "saved_kwh", "year.baseline is not given"),
])
def test_what_has_no_payback_says_why(ask: Ask, power: float, more: dict[str, str], key: str,
                                      words: str) -> None:
    found = ask([on_line("damper", 120.0, 2.0), on_line("drive", power, 4.0)], "[30]", "[8760]",
                **{"rest": 'baseline = "damper"', **more})["drive"]
    assert getattr(found, key) is None and words in found.reasons[key]
    missing = {name for name, value in vars(found).items() if value is None}
    assert missing <= set(found.reasons)


def test_what_costs_no_more_than_the_baseline_pays_at_once(ask: Ask) -> None:
    found = ask([on_line("damper", 120.0, 2.0), on_line("drive", 20.0, 4.0)], "[30]", "[8760]",
                rest='baseline = "damper"', costs="damper=5000 drive=4000")
    assert found["drive"].payback_years == 0.0


def test_a_difference_of_rounding_is_no_saving(ask: Ask) -> None:
    found = ask([on_line("damper", 120.0, 2.0), on_line("drive", 120.0 - 1e-9, 2.0)], "[30]",
                "[8760]", rest='baseline = "damper"', costs="damper=5 drive=4")["drive"]
    assert found.saved_kwh == 0.0 and "saves nothing" in found.reasons["payback_years"]


def test_a_baseline_beyond_a_limit_is_said(ask: Ask) -> None:
    """At 12 m³/s the damper surges; its steady power still counts."""
    surging = strategy("damper", [point(50, 220), point(20, 160), point(10, 140, ("surge",))])
    found = ask([surging, on_line("drive", 20.0, 4.0)], "[30, 12]", "[1000, 500]",
                rest='baseline = "damper"')
    assert found["drive"].saved_kwh == pytest.approx(40.0 * 1000 + (144.0 - 68.0) * 500)
    assert any("save over a plant that could not be run so" in n for n in found["damper"].notes)


def test_only_hours_that_both_serve_are_compared_and_that_is_said(ask: Ask) -> None:
    """The drive reaches down to 10 m³/s, the damper to 25: 180 − 140 = 40 kW at 30 m³/s alone."""
    found = ask([on_line("damper", 120.0, 2.0, low=25.0), on_line("drive", 20.0, 4.0)],
                "[30, 12]", "[3000, 5760]", rest='baseline = "damper"')["drive"]
    assert found.hours_compared == 3000.0 and found.saved_kwh == pytest.approx(120_000.0)
    assert found.electrical_kwh == pytest.approx(140.0 * 3000 + 68.0 * 5760)
    assert any("compared with damper on 3000 h, which both serve, of 8760 h" in note
               for note in found.notes)
    apart = ask([on_line("damper", 1.0, 1.0, low=40.0), on_line("drive", 1.0, 1.0, high=35.0)],
                "[30, 45]", "[1, 2]", rest='baseline = "damper"')["drive"]
    assert apart.hours_compared == 0.0 and "no hour is served by both" in apart.reasons["saving"]


def test_a_baseline_that_is_not_on_the_map_is_missed_in_words(ask: Ask) -> None:
    found = ask([on_line("drive", 20.0, 4.0)], "[30]", "[8760]", rest='baseline = "damper"')
    assert found["drive"].reasons["saving"] == "the baseline, damper, is not on this map"


def test_without_a_load_profile_there_is_no_year(tmp_path: Path) -> None:
    path = tmp_path / "loft.toml"
    path.write_text(BASE, "utf-8")
    assert years([on_line("drive", 20.0, 4.0)], scenario.load(path)) == {}


# A sheet -----------------------------------------------------------------------------------------

NAMED = BASE + '[year]\nprofile_file = "demand.csv"\n'
HERE = NAMED.splitlines().index('profile_file = "demand.csv"') + 1


def hourly(n: int = 8760, demand: Callable[[int], float] = lambda k: 30.0) -> str:
    first = datetime(2025, 1, 1)
    return "time, demand [m3/s]\n" + "".join(
        f"{(first + timedelta(hours=k)).isoformat()}, {demand(k):g}\n" for k in range(n))


def load(folder: Path, sheet: str, text: str = NAMED) -> Case:
    (folder / "loft.toml").write_text(text, "utf-8")
    (folder / "demand.csv").write_text(sheet, "utf-8")
    return scenario.load(folder / "loft.toml")


def problems(folder: Path, sheet: str, text: str = NAMED) -> list[Problem]:
    with pytest.raises(ScenarioError) as caught:
        load(folder, sheet, text)
    return caught.value.problems


def test_a_year_of_hours_is_read_row_by_row(tmp_path: Path) -> None:
    year = load(tmp_path, hourly(demand=lambda k: 10 + k % 40)).year
    assert year is not None and year.profile is not None
    assert year.profile.demand[:3] == (10.0, 11.0, 12.0) and len(year.profile.demand) == 8760
    assert set(year.profile.hours) == {1.0}


@pytest.mark.parametrize(("sheet", "demand", "hours"), [
    ("time [h], demand [m3/s]\n0, 3\n0.25, 4\n0.5, 5\n", (3.0, 4.0, 5.0), 0.25),
    ("# logged\ntime [s], demand [m3/h]\n0, 3600\n\n7200, 7200\n", (1.0, 2.0), 2.0),
    ("demand [m3/s], time\n3, 2025-01-31\n4, 2025-02-01\n", (3.0, 4.0), 24.0),
    ("time,demand [m3/s]\n2025-03-30T01:00+01:00,3\n2025-03-30T03:00+02:00,4\n"
     "2025-03-30T04:00+02:00,5\n", (3.0, 4.0, 5.0), 1.0),
])
def test_times_may_be_counted_or_stamped(tmp_path: Path, sheet: str, demand: tuple[float, ...],
                                         hours: float) -> None:
    """The last row holds for one step; an offset sees through a change of the clock."""
    year = load(tmp_path, sheet).year
    assert year is not None and year.profile is not None
    assert year.profile.demand == demand
    assert year.profile.hours == pytest.approx([hours] * len(demand))


ROWS = hourly(200).splitlines(keepends=True)
MISTAKES = [
    # the sheet, line, words of the sentence
    ("".join(ROWS[:100] + ROWS[103:]), 101, "a gap of 4 h before 2025-01-05T06:00:00; allowed: "
     "steps of 1 h, as between most rows; nothing is filled in"),
    ("".join(ROWS[:100] + ROWS[101:]), 101, "where the clock was changed, write an offset"),
    ("".join(ROWS[:100] + ROWS[99:]), 101, "2025-01-05T02:00:00 after 2025-01-05T02:00:00; "
     "allowed: each time after the one before it"),
    ("time [s], demand [m3/s]\n0, 1\n900, 2\n1000, 3\n1900, 2\n", 4, "1000 only 1.66667 min"),
    ("time [h], demand [m3/s]\n0, 1\n1, x\n", 3, 'got "x" under demand; allowed: a number'),
    ("time [h], demand [m3/s]\n0, 1\n1, \n", 3, "an empty cell under demand"),
    ("time [h], demand [m3/s]\n0, 1\n1, 4 m3/s\n", 3, "the unit stands in the heading"),
    ("time [h], demand [m3/s]\n0, 1\nx, 4\n", 3, 'got "x" under time; allowed: a number, in h'),
    ("time [h], demand [m3/s]\n0, 1\n1, 4, 5\n", 3, "got 3 values in a row; allowed: 2"),
    ("time [h], demand [m3/s]\n0, 1\n1, -4\n", 3, "at least 0 m3/s"),
    ("time [kg], demand [m3/s]\n0, 1\n1, 4\n", 1, "time stamps take no unit"),
    ("time [h], demand [rpm]\n0, 1\n1, 4\n", 1, "rpm is a unit of rotation speed"),
    ("time [h], demand [kg/s]\n0, 1\n1, 4\n", 2, "got 1 kg/s, a mass flow; allowed: a volume flow"),
    ("time [h], demand\n0, 1\n1, 4\n", 1, "demand without a unit"),
    ("time [h], need [m3/s], demand [m3/s]\n0, 1, 2\n1, 4, 2\n", 1, 'an unknown column "need"'),
    ("time [h], demand [m3/s], time [h]\n0, 1, 2\n1, 4, 2\n", 1, "the column time twice"),
    ("time; demand [m3/s]\n0; 1\n1; 4\n", 1, "columns parted by semicolons"),
    ("time, demand [m3/s]\n0, 1\n1, 4\n", 2, "a counted time has its unit in the heading"),
    ("time [h], demand [m3/s]\n2025-01-01, 1\n2025-01-02, 4\n", 2, "time stamps stand under time "
     "without a unit"),
    ("time, demand [m3/s]\n2025-01-01, 1\n02/01/2025, 4\n", 3, "a time stamp of ISO 8601"),
    ("time, demand [m3/s]\n2025-01-01, 1\n2025-01-02T00:00Z, 4\n", 3, "all time stamps with an "
     "offset such as +01:00, or none"),
    ("time [h], demand [m3/s]\n0, 1\n", 1, "two rows at least"),
]


@pytest.mark.parametrize(("sheet", "line", "words"), MISTAKES, ids=[m[2][:50] for m in MISTAKES])
def test_a_mistake_in_a_sheet_is_told_by_line(tmp_path: Path, sheet: str, line: int, words: str
                                              ) -> None:
    """In one sentence each."""
    found = problems(tmp_path, sheet)
    assert [(p.file, p.line) for p in found] == [("demand.csv", line)], found
    assert words in str(found[0])


@pytest.mark.parametrize(("old", "new", "words"), [
    ("demand.csv", "demands.csv", "no file of this name; allowed: a file of a load profile; there "
     "is demand.csv"),
    ("demand.csv", "/demand.csv", "a path from the root"),
    ('"demand.csv"', "3", "a text in quotes"),
    ('"demand.csv"', '"demand.csv"\nprofile = { demand = { unit = "m3/s", values = [1] }, '
     "hours = [1] }", "both profile and profile_file; allowed: one of the two"),
])
def test_a_sheet_that_cannot_be_read_is_told_where_it_is_named(tmp_path: Path, old: str, new: str,
                                                               words: str) -> None:
    found = problems(tmp_path, hourly(20), NAMED.replace(old, new))
    assert [(p.file, p.line, p.key) for p in found] == [("loft.toml", HERE, "year.profile_file")]
    assert words in str(found[0])


def test_the_fingerprint_of_a_scenario_covers_its_load_profile(tmp_path: Path) -> None:
    load(tmp_path, hourly(20))
    before = scenario.fingerprint(tmp_path / "loft.toml")
    load(tmp_path, hourly(20, lambda k: 30.1))
    assert scenario.fingerprint(tmp_path / "loft.toml") != before


BYTES = hourly(20).encode()


@settings(max_examples=100, deadline=5000,
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
    (tmp_path / "loft.toml").write_text(NAMED, "utf-8")
    (tmp_path / "demand.csv").write_bytes(content)
    try:
        assert isinstance(scenario.load(tmp_path / "loft.toml"), Case)
    except ScenarioError as error:
        assert all(p.file in ("loft.toml", "demand.csv") and "\n" not in str(p)
                   for p in error.problems)
