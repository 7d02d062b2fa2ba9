"""Surge of each fan: how often, from when to when, how hard."""

from typing import NamedTuple

import numpy as np

from simfan.history import History
from simfan.measures import surge as fold
from simfan.metrics.before import after, moving
from simfan.metrics.columns import Folded, Run, blocks, clock, column, shortest
from simfan.metrics.events import MERGE_GAP_S, ROOM
from simfan.metrics.results import Surge

LONGEST_CYCLE_PERIODS = 4.0
"""Widest valley of flow that counts as a surge cycle, in the plant's own natural period.

Surge runs at about that period, or slower by a small factor where the volume is large; a
controlled move down and back takes many of them. Our choice; from memory, no source.
"""
LONGEST_CYCLE_S = 10.0
"""The same where the natural period is not known. Our choice; from memory, no source."""


class Found(NamedTuple):
    """Surge of one fan."""

    cycles: int
    events: list[Surge]
    not_listed: int
    """1 where cycles did not fit into the list."""


def stall_flow(run: Run) -> float | None:
    """Flow at stall [m³/s] at rated speed, else the largest recorded; None without a line."""
    if run.facts.fan_map.stall_flow is not None:
        return run.facts.fan_map.stall_flow
    return max((float(np.nanmax(recorded)) for block in blocks(run)
                if np.isfinite(recorded := block.traces["stall_flow"]).any()), default=None)


def longest_cycle(run: Run) -> float:
    """Widest valley that counts [s]."""
    period = run.facts.natural_period_s
    return LONGEST_CYCLE_S if period is None else LONGEST_CYCLE_PERIODS * float(period)


def find(run: Run, fan: int, swing: float) -> Found:
    """All cycles of one fan with at least this swing of flow [m³/s]."""
    cycles = Cycles(run, fan, swing)
    for block in blocks(run):
        cycles.take(block)
    return cycles.found(run)


class Cycles:
    """Those of one fan, on their way over the blocks of a run."""

    def __init__(self, run: Run, fan: int, swing: float) -> None:
        longest = longest_cycle(run)
        memory = min(int(np.ceil(longest / shortest(run.time))), len(run.time)) + 2
        gap = max(MERGE_GAP_S, longest)  # or each cycle of a slow surge would stand alone
        params = fold.Params(float(swing), longest, gap, memory, ROOM)
        self.fan, self.folded = fan, Folded(fold, fold.start(params))

    def take(self, block: History) -> None:
        """The next samples."""
        names = ("fan_flow", "stall_flow", "fan_pressure")
        self.folded.take(clock(block), *(column(block, name, self.fan) for name in names))

    def found(self, run: Run) -> Found:
        """All that were seen."""
        got = self.folded.result()
        table = fold.Listed(*got.table)
        events = [_event(run, self.fan, table, k) for k in range(got.episodes)]
        return Found(int(got.cycles), events, 1 if got.lost else 0)


def _event(run: Run, fan: int, table: fold.Listed, k: int) -> Surge:
    start, end = float(table.start[k]), float(table.end[k])
    cycles = int(table.cycles[k])
    frequency = _frequency(cycles, float(table.last_bottom[k] - table.first_bottom[k]))
    swing = float(table.flow_swing[k])
    going_on = float(run.time[-1]) - end < 1.5 * _period(frequency)
    return Surge(
        kind="surge",
        where=run.items["fan"][fan],
        start_s=start,
        end_s=end,
        duration_s=end - start,
        crossings=cycles,
        depth=swing,
        depth_unit="m3/s",
        moving=moving(run, start),
        after=after(run, start),
        still_on_at_end=going_on,
        reasons={} if frequency else {"frequency_hz": "one cycle has no frequency"},
        cycles=cycles,
        frequency_hz=frequency,
        flow_swing_m3_s=swing,
        lowest_flow_m3_s=float(table.lowest_flow[k]),
        pressure_swing_pa=float(table.pressure_swing[k]),
    )


def _frequency(cycles: int, between_bottoms: float) -> float | None:
    return (cycles - 1) / between_bottoms if cycles > 1 else None


def _period(frequency: float | None) -> float:
    return 1.0 / frequency if frequency else 0.0
