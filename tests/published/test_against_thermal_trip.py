"""A motor's thermal trip against its closed form.

θ̇ = (m² − θ)/τ for a load m over the rating, trip at θ = k²: from a heat of p²,
t = τ·ln((m² − p²)/(m² − k²)). IEC 60255-149, from memory.
"""

from math import log

import pytest

from simfan.simulate import simulate
from tests.plants import DAMPER, plain
from tests.published.record import checked

TAU, BORNE = 20.0, 0.6


@pytest.mark.parametrize("resistance", [0.5, 0.25, 0.1])
def test_an_overload_trips_after(resistance: float) -> None:
    """The process is made easier to pass at one stroke, the damper left where it is. The load
    before and after is read off the run itself; the flow follows within a second, and within that
    the time to trip is checked."""
    case = plain(strategies={"it": {"outlet_damper": {**DAMPER, "place": "before volume"},
                                    "controller": {"gain": 0.5, "reset": 5.0}}},
                 protection=[{"overload": BORNE, "time_constant": TAU, "effect": "alarm"}],
                 timeline=[{"at": 1.0, "manual_output": 0.4},
                           {"at": 200.0, "process_resistance": resistance}],
                 run={"duration": 300.0, "starts_at": 33.0})
    history = simulate(case, "it")
    load = history.trace("motor_load")
    before, after = float(load[round(199.0 / history.facts.record_s)]), float(load[-1])
    assert before < BORNE < after
    told = [h.at_s for h in history.log if h.what.startswith("alarm")]
    expected = TAU * log((after**2 - before**2) / (after**2 - BORNE**2))
    assert told[0] - 200.0 == checked(expected, "time to trip [s]", abs=1.0)
