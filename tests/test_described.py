"""What `simfan check` tells of a plant in words."""

from typing import Any

import pytest

from simfan import api
from tests.plants import DAMPER, GAINS, fan, motor, plain
from tests.test_procedures import START

LINE = {"outlet_damper": {**DAMPER, "place": "before volume"}, "controller": GAINS}


def told(begins: str, **changes: Any) -> str:
    """The one line that begins so."""
    (line,) = [w for w in api.describe(plain(**{"strategies": {"it": LINE}} | changes))
               if w.startswith(begins)]
    return line


def test_the_efficiency_of_the_curve_stands_with_its_flows() -> None:
    """η = Q·Δp/P of the given points, whatever the curve is given as."""
    one = fan("B")
    found = [(q * p / power, q) for q, p, power in
             zip(one["flow"], one["static_pressure"], one["shaft_power"], strict=True) if q > 0.0]
    (best, at), (least, there) = max(found), min(found)
    assert told("fan efficiency") == (
        f"fan efficiency (static), over its points with flow: best {100.0 * best:.3g} % at "
        f"{at:.4g} m3/s, lowest {100.0 * least:.3g} % at {there:.4g} m3/s")
    total = {k: v for k, v in one.items() if k != "static_pressure"} | {
        "total_pressure": one["static_pressure"], "outlet_area": 6.0}
    assert told("fan efficiency", fan=total).startswith(
        f"fan efficiency (total), over its points with flow: best {100.0 * best:.3g} % at ")


@pytest.mark.parametrize(("times", "allowed"), [
    ({"locked_rotor_time": 10.0, "locked_rotor_time_cold": 15.0},
     ", allowed 10 s hot and 15 s cold"),
    ({"locked_rotor_time": 10.0}, ", allowed 10 s hot"),
    ({}, "; what its maker allows is not given")])
def test_the_heat_of_a_direct_start_stands_beside_what_its_maker_allows(
        times: dict[str, float], allowed: str) -> None:
    assert told("it: direct start", motor=motor("B") | times).endswith(
        f" s locked{allowed}")


def test_the_tolerance_of_an_element_with_play_is_told_where_a_procedure_waits_for_it() -> None:
    """0.5 %, half of 0.8 % play and 0.3 % of resolution."""
    loose = {"strategies": {"it": LINE | {"outlet_damper": LINE["outlet_damper"] | {
        "backlash": 0.008, "resolution": 0.003}}}}
    assert told("it: outlet damper counts as there", procedures={"start": START}, **loose) == (
        "it: outlet damper counts as there within 1.2 % of its stroke in procedures: 0.5 %, half "
        "its play and its resolution")
    for case in (plain(**loose), plain(strategies={"it": LINE}, procedures={"start": START})):
        assert not any("counts as there" in line for line in api.describe(case))


def test_an_overload_is_of_a_continuous_load() -> None:
    row = {"overload": 1.1, "time_constant": 600.0, "effect": "alarm"}
    assert told("protection:", protection=[row]).startswith(
        "protection: motor's heat at that of 110 % continuous load, time constant 600 s: alarm")
