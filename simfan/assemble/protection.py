"""Rows of the cause-and-effect table as the kernel takes them."""

from collections.abc import Iterator
from math import ceil, pi, sqrt

import numpy as np

from simfan.assemble.ductwork import FAN_BRANCH, VOLUME, AirPath
from simfan.assemble.fan import RatedCurve
from simfan.errors import Problem
from simfan.kernel.layout import (
    ABOVE,
    ALARM,
    BELOW,
    GUARD,
    LOAD,
    NODE_PRESSURE,
    OVERLOAD,
    RUN_BACK,
    SPEED,
    STALL_MARGIN,
    SURGE,
    TRIP,
    rows,
)
from simfan.plant.case import Case

WATCHES = {"overload": (OVERLOAD, LOAD, 0), "speed": (ABOVE, SPEED, 0),
           "stall_margin": (BELOW, STALL_MARGIN, 0), "surge_cycles": (SURGE, STALL_MARGIN, 0),
           "highest_pressure": (ABOVE, NODE_PRESSURE, VOLUME),
           "lowest_pressure": (BELOW, NODE_PRESSURE, VOLUME)}
EFFECTS = {"alarm": ALARM, "trip": TRIP, "run back": RUN_BACK}
BY_START = -1.0
LONGEST_CYCLE_PERIODS = 4.0
"""Widest valley of flow that counts as a surge cycle, in the plant's own natural period; as the
judge has it."""


def guards(case: Case, path: AirPath, curve: RatedCurve, hand: int) -> np.recarray:
    """(n,) records; `hand` is the loop that goes to manual."""
    table = case.protection
    watched = [WATCHES[row.cause] for row in table]
    return rows(
        GUARD, counts=[w[0] for w in watched], place=[w[1] for w in watched],
        index=[w[2] for w in watched], limit=[row.limit for row in table],
        delay=[row.time_constant or row.after for row in table],
        bypass=[row.bypass_at_start for row in table],
        effect=[EFFECTS[row.effect] for row in table],
        output=[-1.0 if row.output is None else row.output for row in table],
        loop=[hand] * len(table),
        reset=[row.reset_after if row.reset == "by itself" else BY_START for row in table],
        swing=[case.criteria.surge_swing * (curve.stall_flow or np.inf)] * len(table),
        window=[row.window or 0.0 for row in table],
        longest=[_longest(case, path) if row.surge_cycles else 0 for row in table])


def _longest(case: Case, path: AirPath) -> int:
    """Scans that the valley of a surge cycle may be wide, from 2π/ω_H with ω_H² = c²/(V·ΣL/A)."""
    air = case.air
    sound = sqrt(air.heat_capacity_ratio * air.gas_constant * path.gas_temperature)
    period = 2.0 * pi / sound * sqrt(case.ductwork.volume * path.network.inertance[FAN_BRANCH])
    return ceil(LONGEST_CYCLE_PERIODS * period / case.control.scan - 1e-9)


def problems(case: Case, curve: RatedCurve) -> Iterator[Problem]:
    """A surge count needs a stall line, and scans that see a cycle."""
    for place, row in enumerate(case.protection):
        if row.surge_cycles is not None and curve.stall_flow is None:
            yield Problem(("protection", place, "surge_cycles"), "a curve without a peak",
                          "a fan with a stall line: fan.stall_flow",
                          "a surge cycle is counted by its fall to the left of one")
