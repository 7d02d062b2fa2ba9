"""Rows of the cause-and-effect table as the kernel takes them."""

from collections.abc import Sequence

import numpy as np

from simfan.assemble.ductwork import VOLUME
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
    TRIP,
    rows,
)
from simfan.plant.protection import Protection

WATCHES = {"overload": (OVERLOAD, LOAD, 0), "speed": (ABOVE, SPEED, 0),
           "stall_margin": (BELOW, STALL_MARGIN, 0),
           "highest_pressure": (ABOVE, NODE_PRESSURE, VOLUME),
           "lowest_pressure": (BELOW, NODE_PRESSURE, VOLUME)}
EFFECTS = {"alarm": ALARM, "trip": TRIP, "run back": RUN_BACK}


def guards(table: Sequence[Protection], hand: int) -> np.recarray:
    """(n,) records; `hand` is the loop that goes to manual."""
    watched = [WATCHES[row.cause] for row in table]
    return rows(
        GUARD, counts=[w[0] for w in watched], place=[w[1] for w in watched],
        index=[w[2] for w in watched], limit=[row.limit for row in table],
        delay=[row.time_constant or row.after for row in table],
        bypass=[row.bypass_at_start for row in table],
        effect=[EFFECTS[row.effect] for row in table],
        output=[-1.0 if row.output is None else row.output for row in table],
        loop=[hand] * len(table))
