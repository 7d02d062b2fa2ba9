"""The excursion list: when a signal was beyond its limit, how far, and what was moving."""

from collections.abc import Container
from dataclasses import dataclass
from typing import Any

import numpy as np

from simfan.history import History
from simfan.measures import episodes as fold
from simfan.metrics.before import after, moving
from simfan.metrics.columns import Array, Folded, Run, clock, column
from simfan.metrics.misses import LEFT
from simfan.metrics.results import Event
from simfan.plant.case import Criteria

MERGE_GAP_S = 10.0
"""Events of a kind with less time between them are one. Our choice; no source."""
ROOM = 50
"""Longest list of one kind."""
AT_LIMIT = 0.001
"""How near 0 or 1 a controller's output is at its limit. Our choice; no source."""


@dataclass(frozen=True)
class Watch:
    """One signal against one limit: `depth` is above zero when beyond it."""

    kind: str
    where: str
    depth: Array
    unit: str
    scale: float = 1.0
    """From the depth's SI to `unit`."""
    no_depth: str = ""
    """Why this kind has no depth."""


def watches(history: History, criteria: Criteria, inside: Array) -> list[Watch]:
    """Everything that is looked for, for every fan and loop; backward flow only `inside`."""
    fans = [w for i in range(len(history.items["fan"]))
            for w in _of_fan(history, criteria, i, inside)]
    return fans + [_of_loop(history, i, inside) for i, name in enumerate(history.items["loop"])
                   if name not in history.facts.limiting]


def speed_limit(history: History, criteria: Criteria) -> float:
    """Of rated speed: the criterion, or the wheel's safe speed where none is given."""
    return history.facts.max_safe_speed_ratio if criteria.speed is None else criteria.speed


def load_limit(criteria: Criteria) -> float:
    """Of what the motor may give for good: the criterion, or all of it where none is given."""
    return 1.0 if criteria.motor_load is None else criteria.motor_load


def left_kind(history: History) -> str:
    """A peak is no proof of stall, so it is not called so."""
    is_peak = "peak" in history.facts.fan_map.stall_basis
    return LEFT[0] if is_peak else LEFT[1]


def _of_fan(history: History, criteria: Criteria, i: int, inside: Array) -> list[Watch]:
    fan = history.items["fan"][i]
    flow, stall = column(history, "fan_flow", i), column(history, "stall_flow", i)
    load, speed = column(history, "motor_load", i), np.abs(column(history, "speed_ratio", i))
    return [
        Watch(left_kind(history), fan, stall - flow, "m3/s"),
        Watch("reverse flow", fan, np.where(inside, -flow, np.nan), "m3/s"),
        Watch("motor overload", fan, load - load_limit(criteria), "% of the motor's rating", 100.0),
        Watch("overspeed", fan, speed - speed_limit(history, criteria), "% of rated speed", 100.0),
    ]


def _of_loop(history: History, i: int, inside: Array) -> Watch:
    output = column(history, "controller_output", i)
    beyond = abs(output - 0.5) - (0.5 - AT_LIMIT)
    if history.facts.procedures:
        beyond = np.where(inside, beyond, np.nan)
    return Watch("controller at limit", history.items["loop"][i], beyond, "%",
                 no_depth="the output cannot go beyond its limit")  # fmt: skip


class Watched:
    """All that is looked for, on its way over the blocks of a run."""

    def __init__(self, criteria: Criteria) -> None:
        self.criteria = criteria
        self.folds: list[Folded] = []
        self.watches: list[Watch] = []

    def take(self, block: History, inside: Array) -> None:
        """The next samples; backward flow is looked for only `inside`."""
        time = clock(block)
        self.watches = watches(block, self.criteria, inside)
        self.folds = self.folds or [
            Folded(fold, fold.start(fold.Params(MERGE_GAP_S, ROOM))) for _ in self.watches]
        for one, watch in zip(self.folds, self.watches, strict=True):
            one.take(time, watch.depth)

    def events(self, run: Run, kinds: Container[str] | None = None) -> tuple[list[Event], int]:
        """Those of these kinds, each watch's in time, and how many did not fit."""
        events, lost = [], 0
        for one, watch in zip(self.folds, self.watches, strict=True):
            if kinds is None or watch.kind in kinds:
                got = one.result()
                table, lost = fold.Listed(*got.table), lost + int(got.lost)
                events += [_event(run, watch, table, k, got) for k in range(got.episodes)]
        return events, lost


def _event(run: Run, watch: Watch, table: fold.Listed, k: int, got: Any) -> Event:
    start, end = float(table.start[k]), float(table.end[k])
    depth = float(table.deepest[k]) * watch.scale
    return Event(
        kind=watch.kind,
        where=watch.where,
        start_s=start,
        end_s=end,
        duration_s=end - start,
        crossings=int(table.crossings[k]),
        depth=None if watch.no_depth else depth,
        depth_unit=watch.unit,
        moving=moving(run, start),
        after=after(run, start),
        still_on_at_end=bool(got.is_open) and got.lost == 0 and k == got.episodes - 1,
        reasons={"depth": watch.no_depth} if watch.no_depth else {},
    )
