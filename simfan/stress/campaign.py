"""The whole of a campaign: runs at random, a search for the worst, the smallest changes that break
each requirement, ramp limits, and what matters.

The runs at random come first and are used for nothing but the statement of confidence; all others
were looked for, and no share of the space follows from them.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic

import numpy as np

from simfan.errors import RunError
from simfan.history import History
from simfan.plant.case import Case
from simfan.scenario import written
from simfan.simulate import simulate
from simfan.stress import ramps, search, sensitivity, smallest
from simfan.stress.confidence import CONFIDENCE, failure_bound, statement
from simfan.stress.program import program
from simfan.stress.runs import Makers, Runs
from simfan.stress.space import Space, random_points, tried
from simfan.stress.store import Store, content
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
    Trail,
    Verdict,
    Worst,
)

FRESH = 0.5
"""Share of the runs that are drawn at random."""
MATTERS = 0.25
"""Runs for the sensitivities, on top, as a share of the runs."""

class TimeOver(Exception):
    """The seconds are over; a search within does not catch it."""


@dataclass
class Gathered:
    """What the parts of a campaign found, as far as they got."""

    fresh: Trail
    searched: Trail
    sampled: int = 0
    changes: list[SmallestChange] = field(default_factory=list)
    matters: list[Sensitivity] = field(default_factory=list)
    ramp_limits: RampLimits | None = None
    ramp_table: list[RampRow] = field(default_factory=list)
    why_no_ramps: str | None = None
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


WITH_PROCEDURES = ("its runs have procedures, which wait for the plant: each was played in step "
                   "with it, which is slower than a run without")


class Campaign:
    """One strategy's."""

    def __init__(self, case: Case, strategy: str, wanted: Wanted,
                 progress: Progress | None = None) -> None:
        """Raises RunError where nothing varies or the folder holds other runs, ScenarioError where
        an end of an input makes no scenario."""
        self.case, self.strategy, self.wanted = case, strategy, wanted
        self.began = monotonic()
        self.space = Space(case, strategy)
        tried(self.space)
        self.store = Store(wanted.folder, _about(self.space, strategy))
        self.inputs = len(self.space.inputs)
        self.telling = Telling(strategy, self.store.found, self._known_to_come(), progress)
        self.runs = Runs(case, strategy, self.space, self.store, wanted.threads, self._told,
                         wanted.makers)
        self.points: list[Array] = []
        empty = Trail(np.zeros((0, self.inputs)), np.zeros((0, len(self.runs.requirements))))
        self.found = Gathered(empty, empty)

    def __call__(self, points: Array) -> Array:
        """Distances; TimeOver where it is."""
        if self._left() == 0.0:
            raise TimeOver
        self.points.append(np.array(points))
        new = sum(self.store.get(p) is None for p in np.ascontiguousarray(points))
        self.telling.asked = max(self._known_to_come(), len(self.store) + new)
        return self.runs(points)

    def run(self) -> StressAnswer:
        """All parts, or those that there was time for."""
        nominal = self.runs(self.space.nominal[None])[0]
        parts = {"at random": self._draw, "search": self._search,
                 "smallest changes": self._change, "what matters": self._matter,
                 "ramp limits": self._ramp}
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
        return self._answer(nominal)

    def _draw(self) -> None:
        """The runs at random. Those that count are the first ones, up to the first that was not
        finished: which of the others were says how long they take, so it is no chance."""
        number = max(1, round(FRESH * self.wanted.runs))
        points = random_points(self.wanted.seed, 0, number, self.inputs)
        try:
            self(points)
        finally:
            finished = [self.store.get(p) is not None for p in points]
            self.found.fresh = self._trail(points[:number if all(finished)
                                                  else finished.index(False)])

    def _search(self) -> None:
        left = self.wanted.runs - len(self.found.fresh.points)
        if left < 1:
            return
        before = len(self.points)
        try:
            search.search(self, self.inputs, len(self.runs.requirements), Budget(left),
                          self.wanted.seed)
        finally:
            self.found.searched = self._trail(self._asked(before))
            self.found.sampled = min(search.sample_size(left), len(self.found.searched.points))

    def _change(self) -> None:
        every = self._all()
        self.found.changes = smallest.smallest_changes(self, self.space.nominal, every)

    def _matter(self) -> None:
        self.found.matters = sensitivity.sensitivity(self, self.inputs, self._for_what_matters(),
                                                     self.wanted.seed)

    def _ramp(self) -> None:
        """The map of ramps, the plant as the scenario has it."""
        by_name = {i.name: (place, i) for place, i in enumerate(self.space.inputs)}
        if not {"from", "to", "over"} <= set(by_name):
            self.found.why_no_ramps = ("ramp limits need [stress.moves] with from, to and over "
                                       "that vary")
            return
        places = [by_name[name][0] for name in ("from", "to", "over")]
        start, end, over = (by_name[name][1] for name in ("from", "to", "over"))
        low = max(start.numbers[0], end.numbers[0])
        high = min(start.numbers[1], end.numbers[1])
        if not low < high:
            self.found.why_no_ramps = "from and to of [stress.moves] have no range in common"
            return

        def moves(asked: Array) -> Array:
            points = np.tile(self.space.nominal, (len(asked), 1))
            for place, which, column in zip(places, (start, end, over), asked.T, strict=True):
                points[:, place] = [which.share(float(v)) for v in column]
            return self(points)

        shortest = max(over.numbers[0], self.case.control.scan)
        limits = ramps.ramp_limits(moves, np.linspace(low, high, _setpoints(self.wanted.runs)),
                                   shortest, over.numbers[1])
        self.found.ramp_limits, self.found.ramp_table = limits, ramps.table(moves, limits)

    def _asked(self, since: int) -> Array:
        """(n, d) of the points asked for since then that were run."""
        asked = self.points[since:]
        every = np.vstack(asked) if asked else np.zeros((0, self.inputs))
        return every[[self.store.get(p) is not None for p in every]].reshape(-1, self.inputs)

    def _trail(self, points: Array) -> Trail:
        points = np.ascontiguousarray(points)
        distances = np.array([o.distances for o in self.runs.outcomes(points)])
        return Trail(points, distances.reshape(len(points), len(self.runs.requirements)))

    def _all(self) -> Trail:
        """Every run made by now, once."""
        return self._trail(_once([self.space.nominal[None], self._asked(0)]))

    def _left(self) -> float | None:
        """Seconds left; None for no end."""
        if self.wanted.seconds is None:
            return None
        return max(0.0, self.wanted.seconds - (monotonic() - self.began))

    def _told(self, made: int, failed: int) -> None:
        self.telling(made, failed)
        if self.points and self._left() == 0.0:
            raise TimeOver

    def _known_to_come(self) -> int:
        """All runs, save those of smallest changes and ramp limits."""
        return self.wanted.runs + self._for_what_matters()

    def _for_what_matters(self) -> int:
        return max(round(MATTERS * self.wanted.runs), sensitivity.LEAST * (self.inputs + 2))

    def _answer(self, nominal: Array) -> StressAnswer:
        every, found, case = self._all(), self.found, self.case
        odd = [o for o in self.store.known.values() if o.why]
        strategy = case.strategies[self.strategy]
        facts = self.runs.shared.blank.facts
        return StressAnswer(
            title=case.title, strategy=self.strategy, method=strategy.method,
            holds=case.control.holds, held_kind=case.control.held_kind,
            runs=len(every.points), seed=self.wanted.seed, inputs=self.space.inputs,
            nominal=self.space.nominal,
            verdicts=tuple(self._verdict(column, every, nominal)
                           for column in range(len(self.runs.requirements))),
            fresh=found.fresh, searched=found.searched, sampled=found.sampled,
            stopped_early=found.stopped, broken_off=found.broken_off, not_run=len(odd),
            why_not_run=odd[0].why if odd else None,
            unreached=sum(not o.reached for o in self.runs.outcomes(every.points)),
            nominal_history=self.runs.nominal, ramps=found.ramp_limits,
            ramp_table=tuple(found.ramp_table), why_no_ramps=found.why_no_ramps,
            sensitivity=tuple(found.matters),
            findings=facts.findings + ((WITH_PROCEDURES,) if case.procedures else ()),
            step_s=self.runs.nominal.audit.step_s, seconds=monotonic() - self.began)

    def _verdict(self, column: int, every: Trail, nominal: Array) -> Verdict:
        fresh = self.found.fresh.distances[:, column]
        failures, n = int(np.count_nonzero(fresh < 0.0)), len(fresh)
        worst = search.worst(every, column)
        change = next((c for c in self.found.changes if c.requirement == column), None)
        name = self.runs.requirements[column].name
        broken = worst.distance < 0.0
        return Verdict(
            self.runs.requirements[column], failures, n,
            failure_bound(failures, n) if n else 1.0, CONFIDENCE,
            statement(failures, n) if n else "no run was drawn at random", worst, change,
            bool(nominal[column] < 0.0),
            counterexample=self._file(f"worst-{name}", worst.point, name) if broken else None,
            smallest=self._file(f"smallest-{name}", change.breaks, name) if change else None,
            history=self._history(worst) if broken else None,
            values=dict(zip([i.name for i in self.space.inputs],
                            self.space.values(worst.point), strict=True)))

    def _history(self, worst: Worst) -> History | None:
        """The worst run once more, whole; None where it does not run."""
        if self.store.known[np.ascontiguousarray(worst.point).tobytes()].why:
            return None
        return simulate(self.space.case_of(self.space.values(worst.point)), self.strategy)

    def _file(self, name: str, point: Array, requirement: str) -> str | None:
        """Write the scenario of one run; its path."""
        if self.wanted.folder is None:
            return None
        values = self.space.values(point)
        said = "\n".join(f"  {i.name} = {v!r} {'SI' if i.kind else ''}".rstrip()
                         for i, v in zip(self.space.inputs, values, strict=True))
        head = (f"One run of a search by simfan stress, strategy {self.strategy}, that breaks "
                f"{requirement}.\nIt replays with: simfan run {name}.toml --strategy "
                f'"{self.strategy}"\nWhat varied:\n{said}')
        path = self.wanted.folder / f"{name}.toml"
        try:
            path.write_text(written.text(self.space.written(values), head), "utf-8")
        except OSError as why:
            raise RunError(f"{path} cannot be written: {why.strerror}; the runs finished before "
                           "are kept") from None
        return str(path)


def stress(case: Case, strategy: str, wanted: Wanted, progress: Progress | None = None
           ) -> StressAnswer:
    """Search for the run of a strategy that breaks its requirements. Raises as `Campaign`."""
    return Campaign(case, strategy, wanted, progress).run()


def _about(space: Space, strategy: str) -> dict[str, str]:
    """What runs in one folder have in common."""
    spread = "\n".join(f"{i.name} {i.form} {i.numbers!r}" for i in space.inputs)
    moves = repr(space.moves)
    return {"simfan": program()["simfan"], "strategy": strategy,
            "scenario": content(f"{written.text(space.tables)}{spread}{moves}")}


def _setpoints(runs: int) -> int:
    """Of the ramp map, for about as many runs as the campaign's."""
    return 3 if runs < 500 else 4 if runs < 2000 else 5


def _once(parts: Iterable[Array]) -> Array:
    """Rows of all parts, each the first time it comes."""
    rows = np.vstack(list(parts))
    _, first = np.unique(rows, axis=0, return_index=True)
    return rows[np.sort(first)]
