"""The whole of a campaign: runs laid out, a search for the worst, the smallest changes that break
each requirement, what tuning and actuators bear, ramp limits, and what matters.

The runs laid out come first and are used for nothing but to count failures and as places to search
from; all others were looked for, and no share of the space follows from them. So the statement of
confidence stands on fresh runs alone, whatever was tuned or searched before.
"""

from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic

import numpy as np

from simfan.errors import RunError
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
from simfan.stress.runs import Makers, Runs
from simfan.stress.space import Space, tried
from simfan.stress.store import Store
from simfan.stress.tally import Budget
from simfan.stress.telling import Progress, Telling
from simfan.stress_answer import (
    BY_USER,
    Array,
    RampLimits,
    RampRow,
    Sensitivity,
    SmallestChange,
    StressAnswer,
    Tolerance,
    Trail,
)

ACTUATORS = "tuning-and-actuators"
"""Folder of the runs of tuning and actuators, within that of the campaign."""


class TimeOver(Exception):
    """The seconds are over; a search within does not catch it."""


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
    broken_off: bool = False


@dataclass(frozen=True)
class Wanted:
    """How much, and where to."""

    runs: int
    seconds: float | None
    seed: int
    folder: Path | None = None
    threads: int = 1
    makers: Makers | None = None
    """Who makes the runs, where not this machine."""

    def __post_init__(self) -> None:
        """Raises RunError for numbers that make no campaign."""
        for what, got, good, allowed in (
                ("runs", self.runs, self.runs >= 1, "1 or more"),
                ("seconds", self.seconds, self.seconds is None or self.seconds > 0.0, "above 0"),
                ("seed", self.seed, self.seed >= 0, "0 or more"),
                ("threads", self.threads, self.threads >= 1, "1 or more")):
            if not good:
                raise RunError(f"{what}: got {got}, allowed: {allowed}")


class Campaign:
    """One strategy's."""

    def __init__(self, case: Case, strategy: str, wanted: Wanted,
                 progress: Progress | None = None) -> None:
        """Raises RunError where nothing varies, a grid does not fit or the folder holds other runs,
        ScenarioError where an end of an input makes no scenario."""
        self.case, self.strategy, self.wanted = case, strategy, wanted
        self.began = monotonic()
        self.space = Space(case, strategy)
        tried(self.space)
        self.sampling, self.move_range, self.plan = planned(case, self.space, wanted.runs)
        self.store = Store(wanted.folder, about(self.space, strategy))
        way = " (with procedures, slower)" if case.procedures else ""
        self.telling = Telling(strategy + way, self.store.found, self.plan.most, progress)
        self.runs = Runs(case, strategy, self.space, self.store, wanted.threads, self._told,
                         wanted.makers)
        self.inputs = len(self.space.inputs)
        self.asked: dict[bytes, None] = {}
        """Points in the order they were first asked for."""
        empty = Trail(np.zeros((0, self.inputs)), np.zeros((0, len(self.runs.requirements))))
        self.found = Gathered(empty, empty)

    def __call__(self, points: Array) -> Array:
        """Distances; TimeOver where it is."""
        self._in_time()
        points = np.ascontiguousarray(points, dtype=float)
        self.asked.update(dict.fromkeys(p.tobytes() for p in points))
        return self.runs(points)

    def run(self) -> StressAnswer:
        """All parts, or those that there was time for."""
        nominal = self.runs(self.space.nominal[None])[0]
        parts = {"fresh": self._lay, "search": self._search,
                 "smallest changes": self._change, "tuning and actuators": self._tolerate,
                 "ramp limits": self._ramp, "ramp limits over plants": self._ramp_over,
                 "what matters": self._matter}
        try:
            for self.telling.part, part in parts.items():
                part()
        except TimeOver:
            self.found.stopped = f"the {self.wanted.seconds:g} s were over"
        except KeyboardInterrupt:
            self.found.stopped = BY_USER
        except RunError as why:
            self.found.stopped, self.found.broken_off = str(why), True
        finally:
            self.store.close()
            if self.wanted.makers is None:
                self.runs.makers.close()
        return campaign_answer.told(self, nominal)

    def _lay(self) -> None:
        """The runs before the search. Those that count are the first ones, up to the first that was
        not finished: which of the others were says how long they take, so it is no chance."""
        points = laid(self.sampling, self.wanted.seed, self.plan.laid, self.inputs)
        points = np.ascontiguousarray(points)
        try:
            self(points)
        finally:
            finished = [self.store.get(p) is not None for p in points]
            self.found.fresh = self.trail(points[:len(points) if all(finished)
                                                 else finished.index(False)])

    def _search(self) -> None:
        if self.plan.searched < 1:
            return
        before = len(self.asked)
        try:
            search.search(self, self.inputs, len(self.runs.requirements),
                          Budget(self.plan.searched), self.wanted.seed, known=self.found.fresh)
        finally:
            self.found.searched = self.trail(self._since(before))
            sample = search.sample_size(self.plan.searched, len(self.found.fresh.points))
            self.found.sampled = min(sample, len(self.found.searched.points))

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
        runs = Runs(space.case, self.strategy, space, store, makers=self.runs.makers)

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
            ramps_over.worst_of(each, plants, given), limits)

    def _matter(self) -> None:
        if self.plan.sensitivity:
            self.found.matters = sensitivity.sensitivity(self, self.inputs, self.plan.sensitivity,
                                                         self.wanted.seed)

    def _since(self, before: int) -> Array:
        """(n, d) of the points first asked for since then that were run."""
        asked = [key for key in list(self.asked)[before:] if key in self.store.known]
        return np.frombuffer(b"".join(asked)).reshape(-1, self.inputs)

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
            raise TimeOver

    def _told(self, made: int, failed: int) -> None:
        self.telling(made, failed)
        if self.asked:
            self._in_time()


def stress(case: Case, strategy: str, wanted: Wanted, progress: Progress | None = None
           ) -> StressAnswer:
    """Search for the run of a strategy that breaks its requirements. Raises as `Campaign`."""
    return Campaign(case, strategy, wanted, progress).run()
