"""How far tuning and actuators may go, each alone, from the scenario as it stands: the narrowest
change of gain or reset that breaks a requirement, and the slowest stroke that none minds.

Each is a line from the nominal value, in the logarithm, looked at in even steps and then halved:
tuning to both sides, times of travel only upward, since a faster actuator is no fault.
"""

from collections.abc import Iterator

import numpy as np

from simfan.errors import ScenarioError
from simfan.plant.case import Case
from simfan.plant.stress import Stress, Vary
from simfan.stress.smallest import TOLERANCE, first_breaks
from simfan.stress.space import Space, tried
from simfan.stress.tally import Array, Evaluate
from simfan.stress_answer import SmallestChange, Tolerance

FACTORS = (8.0, 4.0, 2.0)
"""Up to so many times and down to one part of it; less where the scenario allows no more."""
TUNING = ("gain", "proportional_band", "reset", "repeats", "integral_gain")
TRAVEL = {"outlet_damper": ("stroke_time", "stroke_time_closing"),
          "inlet_box_damper": ("stroke_time", "stroke_time_closing"),
          "inlet_vanes": ("stroke_time", "stroke_time_closing"),
          "speed": ("ramp_up", "ramp_down")}


def space_of(nominal: Case, strategy: str) -> Space | None:
    """What of the strategy's own controller and actuators can be varied; None where nothing can."""
    vary = tuple(v for path, value, both in _numbers(nominal, strategy)
                 if (v := _widest(nominal, strategy, path, value, both)))
    return Space(_with(nominal, vary), strategy) if vary else None


def tolerances(evaluate: Evaluate, space: Space, most: int, tolerance: float = TOLERANCE
               ) -> list[Tolerance]:
    """Of each input and side, where it first breaks a requirement that holds at the nominal
    value; within `most` runs."""
    first = evaluate(space.nominal[None])[0]
    lines = [(i, side) for i, at in enumerate(space.nominal) for side in (0.0, 1.0)
             if abs(at - side) > 1e-6]
    ends = np.array([np.where(np.arange(space.nominal.size) == i, side, space.nominal)
                     for i, side in lines])
    found = first_breaks(evaluate, space.nominal, ends, [i for i, _ in lines], first, tolerance,
                         most)
    return [_told(space, i, side, _nearest(found, space.nominal, i, side)) for i, side in lines]


def _nearest(found: list[SmallestChange], nominal: Array, i: int, side: float
             ) -> SmallestChange | None:
    here = [c for c in found if c.input == i and (c.breaks[i] > nominal[i]) == (side > nominal[i])]
    return min(here, key=lambda c: c.size, default=None)


def _told(space: Space, i: int, side: float, change: SmallestChange | None) -> Tolerance:
    one = space.inputs[i]
    end = one.value(side)
    assert one.nominal is not None
    return Tolerance(
        one, "up" if end > one.nominal else "down", one.nominal,
        end if change is None else one.value(float(change.holds[i])),
        None if change is None else one.value(float(change.breaks[i])),
        None if change is None else change.requirement)


def _numbers(case: Case, strategy: str) -> Iterator[tuple[str, float, bool]]:
    """(path, value, whether smaller ones are looked at) of what can be varied."""
    own = case.strategies[strategy]
    at = f"strategies.{strategy}.controller" if own.controller else "control.controller"
    controller = own.controller or case.control.controller
    for key in TUNING:
        if controller is not None and (value := getattr(controller, key)) is not None:
            yield f"{at}.{key}", float(value), True
    for element, keys in TRAVEL.items():
        device = getattr(own, element)
        for key in keys:
            if device is not None and (value := getattr(device, key)) is not None:
                yield f"strategies.{strategy}.{element}.{key}", float(value), False


def _widest(case: Case, strategy: str, path: str, value: float, both: bool) -> Vary | None:
    """The widest spread about a value that makes a scenario at its ends."""
    for factor in FACTORS:
        vary = Vary(of=path, log=(value / factor if both else value, value * factor))
        try:
            tried(Space(_with(case, (vary,)), strategy))
        except ScenarioError:
            continue
        return vary
    return None


def _with(case: Case, vary: tuple[Vary, ...]) -> Case:
    return case.model_copy(update={"stress": Stress(vary=vary)})
