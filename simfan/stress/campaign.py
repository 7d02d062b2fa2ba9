"""The whole of a campaign: runs laid out, a search for the worst, the smallest changes that break
each requirement, what tuning and actuators bear, ramp limits, and what matters.

The runs laid out come first and are used for nothing but to count failures and as places to search
from; all others were looked for, and no share of the space follows from them. So the statement of
confidence stands on fresh runs alone, whatever was tuned or searched before.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic

import numpy as np

from simfan.plant.case import Case
from simfan.stress import (
    budget,
    campaign_answer,
    campaign_ramps,
    ramps,
    ramps_over,
    search,
    sensitivity,
    smallest,
    tolerances,
)
from simfan.stress.campaign_plan import about, laid, planned
from simfan.stress.runs import Runs
from simfan.stress.space import Space, tried
from simfan.stress.store import Store
from simfan.stress.tally import Budget, Spent
from simfan.stress_answer import (
    Array,
    RampLimits,
    RampRow,
    Sensitivity,
    SmallestChange,
    StressAnswer,
    Tolerance,
    Trail,
)

BATCH = 32
"""Runs between two looks at the clock."""
ACTUATORS = "tuning-and-actuators"
"""Folder of the runs of tuning and actuators, within that of the campaign."""

Progress = Callable[[str, float], None]


@dataclass
class Gathered:
    """What the parts of a campaign found, as far as they got."""

    fresh: Trail
    searched: Trail
    sampled: int = 0
    changes: list[SmallestChange] = field(default_factory=list)
    tolerances: list[Tolerance] = field(default_factory=list)
    tolerance_runs: int = 0
    matters: list[Sensitivity] = field(default_factory=list)
    ramp_limits: RampLimits | None = None
    ramp_table: list[RampRow] = field(default_factory=list)
    ramps_over: RampLimits | None = None
    ramp_table_over: list[RampRow] = field(default_factory=list)
    why_no_ramps_over: str | None = None
    stopped: str | None = None


@dataclass(frozen=True)
class Wanted:
    """How much, and where to."""

    runs: int
    seconds: float | None
    seed: int
    folder: Path | None = None
    threads: int = 1


class Campaign:
    """One strategy's."""

    def __init__(self, case: Case, strategy: str, wanted: Wanted,
                 progress: Progress | None = None) -> None:
        """Raises RunError where nothing varies, a grid does not fit or the folder holds other runs,
        ScenarioError where an end of an input makes no scenario."""
        self.case, self.strategy, self.wanted = case, strategy, wanted
        self.began, self.progress = monotonic(), progress
        self.space = Space(case, strategy)
        tried(self.space)
        self.sampling, self.move_range, self.plan = planned(case, self.space, wanted.runs)
        self.store = Store(wanted.folder, about(self.space, strategy))
        self.runs = Runs(case, strategy, self.space, self.store, wanted.threads, self._told)
        self.inputs = len(self.space.inputs)
        self.asked: dict[bytes, Array] = {}
        empty = Trail(np.zeros((0, self.inputs)), np.zeros((0, len(self.runs.requirements))))
        self.found = Gathered(empty, empty)

    def __call__(self, points: Array) -> Array:
        """Distances; Spent where the time is over."""
        self._in_time()
        points = np.ascontiguousarray(points, dtype=float)
        self.asked.update((p.tobytes(), p) for p in points)
        return self.runs(points)

    def run(self) -> StressAnswer:
        """All parts, or those that there was time for."""
        nominal = self.runs(self.space.nominal[None])[0]
        try:
            for part in (self._lay, self._search, self._change, self._tolerate, self._ramp,
                         self._ramp_over, self._matter):
                part()
        except Spent:
            self.found.stopped = f"the {self.wanted.seconds:g} s were over"
        except KeyboardInterrupt:
            self.found.stopped = "stopped by you"
        finally:
            self.store.close()
        return campaign_answer.told(self, nominal)

    def _lay(self) -> None:
        """The runs before the search."""
        points = laid(self.sampling, self.wanted.seed, self.plan.laid, self.inputs)
        made = 0
        try:
            for first in range(0, len(points), BATCH):
                self(points[first:first + BATCH])
                made = first + len(points[first:first + BATCH])
        finally:
            self.found.fresh = self.trail(points[:made])

    def _search(self) -> None:
        if self.plan.searched < 1:
            return
        before = len(self.asked)
        try:
            found = search.search(self, self.inputs, len(self.runs.requirements),
                                  Budget(self.plan.searched), self.wanted.seed,
                                  known=self.found.fresh)
            self.found.sampled = found.sampled
        finally:
            self.found.searched = self.trail(self._since(before))
        self._in_time()

    def _change(self) -> None:
        self.found.changes = smallest.smallest_changes(self, self.space.nominal, self.every(),
                                                       most=self.plan.changes)

    def _tolerate(self) -> None:
        """In a space of their own, about the nominal point of this one."""
        space = tolerances.space_of(self.space.case_of(self.space.values(self.space.nominal)),
                                    self.strategy)
        if space is None or not self.plan.tolerances:
            return
        folder = self.wanted.folder / ACTUATORS if self.wanted.folder else None
        store = Store(folder, about(space, self.strategy))
        runs = Runs(space.case, self.strategy, space, store, self.wanted.threads)

        def in_time(points: Array) -> Array:
            self._in_time()
            return runs(points)

        try:
            self.found.tolerances = tolerances.tolerances(in_time, space, self.plan.tolerances)
        finally:
            self.found.tolerance_runs = len(store)
            store.close()

    def _ramp(self) -> None:
        """The map, the plant as the scenario has it."""
        if isinstance(self.move_range, str) or not self.plan.setpoints:
            return
        moves = campaign_ramps.on_plants(self.space, self)
        limits = ramps.ramp_limits(moves, self.move_range.setpoints(self.plan.setpoints),
                                   *self.move_range.over)
        self.found.ramp_limits, self.found.ramp_table = limits, ramps.table(moves, limits)

    def _ramp_over(self) -> None:
        """The map that all of several plants of the space bear."""
        given = self.found.ramp_limits
        if given is None or isinstance(self.move_range, str):
            return
        if self.space.one_plant:
            self.found.why_no_ramps_over = "nothing but setpoints varies, so there is one plant"
            return
        used = len(self.asked) - len(self.found.fresh.points) - self.plan.searched
        left = self.plan.on_top - max(0, used) - self.plan.tolerances - self.plan.sensitivity
        count = budget.plants(left, self.plan.setpoints, self.move_range.over)
        if not count:
            self.found.why_no_ramps_over = (f"{left} runs are left for them, too few for "
                                            f"{budget.FEWEST_PLANTS} plants; ask for more runs")
            return
        each = campaign_ramps.on_plants(self.space, self)
        worst = [w.point for w in sorted(
            (search.worst(self.every(), k) for k in range(len(self.runs.requirements))),
            key=lambda w: w.distance)]
        plants = campaign_ramps.chosen_plants(self.space, worst, count, self.wanted.seed)
        limits = ramps_over.over_plants(each, given, plants)
        self.found.ramps_over = limits
        self.found.ramp_table_over = ramps.table(
            ramps_over.worst_of(each, plants, self.move_range.longest), limits)

    def _matter(self) -> None:
        if self.plan.sensitivity:
            self.found.matters = sensitivity.sensitivity(self, self.inputs, self.plan.sensitivity,
                                                         self.wanted.seed)

    def _since(self, before: int) -> Array:
        """(n, d) of the points first asked for since then that were run."""
        asked = [p for p in list(self.asked.values())[before:] if self.store.get(p) is not None]
        return np.array(asked).reshape(-1, self.inputs)

    def trail(self, points: Array) -> Trail:
        """Of points that were run."""
        points = np.ascontiguousarray(points)
        distances = np.array([o.distances for o in self.runs.outcomes(points)])
        return Trail(points, distances.reshape(len(points), len(self.runs.requirements)))

    def every(self) -> Trail:
        """Every run made by now, once; the nominal point first."""
        asked = self._since(0)
        other = asked[(asked != self.space.nominal).any(axis=1)]
        return self.trail(np.vstack([self.space.nominal[None], other]))

    def _in_time(self) -> None:
        seconds = self.wanted.seconds
        if seconds is not None and monotonic() - self.began >= seconds:
            raise Spent

    def _told(self, made: int, failed: int) -> None:
        if self.progress:
            rate = made / max(monotonic() - self.began, 1e-9)
            left = max(0, self.plan.most - len(self.store)) / max(rate, 1e-9)
            self.progress(f"{self.strategy}: {len(self.store)} runs of at most {self.plan.most}, "
                          f"{failed} failed, {rate:.3g} a second, at most {left:.0f} s left",
                          min(1.0, len(self.store) / self.plan.most))


def stress(case: Case, strategy: str, wanted: Wanted, progress: Progress | None = None
           ) -> StressAnswer:
    """Search for the run of a strategy that breaks its requirements. Raises as `Campaign`."""
    return Campaign(case, strategy, wanted, progress).run()
