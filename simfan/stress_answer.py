"""What a search through varied runs found. SI; knows nothing of how it was found.

Points are of the unit cube: each input as a share of its range, 0 at its low end. Distances are to
the limit of a requirement: above 0 there is room, below 0 it is broken.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import exp, log, sqrt
from statistics import NormalDist

import numpy as np

from simfan.history import History

Array = np.ndarray

STOPPED = -1e6
"""Distance to every limit of a run that stopped on its numbers, and below which none lies."""
BY_USER = "stopped by you"
"""Why a campaign ended that its user ended."""


@dataclass(frozen=True)
class Trail:
    """All runs of a search, in the order they were made."""

    points: Array
    """(n, d) of the unit cube [1]."""
    distances: Array
    """(n, m) of the limits' scales [1]."""

    def first_broken(self, column: int) -> int | None:
        """How many runs it took until the requirement was broken; None where it never was."""
        broken = np.flatnonzero(self.distances[:, column] < 0.0)
        return int(broken[0]) + 1 if broken.size else None

    def ranked(self, column: int) -> Array:
        """(n,) places of the runs, the worst first; of equals the earlier first."""
        return np.argsort(self.distances[:, column], kind="stable")


@dataclass(frozen=True)
class Worst:
    """The worst run of one requirement."""

    point: Array
    """(d,) of the unit cube [1]."""
    distance: float
    """Below 0 where the requirement is broken, of the limit's scale [1]."""
    runs: int
    """All runs of the search, whichever requirement they were made for [1]."""
    failures: int
    """Of these runs [1]. Searched runs crowd where it is bad: no share of the space follows from
    it."""
    first_broken: int | None
    """Runs made until it was first broken [1]; None where none was found."""


@dataclass(frozen=True)
class Searched:
    """What a search found."""

    worst: tuple[Worst, ...]
    """One for each requirement."""
    trail: Trail
    sampled: int
    """So many runs at the head of the trail are the sample: even over the whole space."""
    stopped: bool
    """Whether the time was over before the runs were."""


@dataclass(frozen=True)
class SmallestChange:
    """A smallest change from the nominal point, along one line, that breaks a requirement."""

    requirement: int
    """Its column [1]."""
    input: int | None
    """Place of the only input that changes [1]; None where several do."""
    holds: Array
    """(d,) the last point on the line that was seen to hold, of the unit cube [1]."""
    breaks: Array
    """(d,) the first that was seen broken [1]."""
    distance: float
    """To the limit at `breaks`, of the limit's scale [1]."""
    size: float
    """Of the change up to `breaks`: root of the sum of squares of shares of the ranges [1]."""

    @property
    def within(self) -> float:
        """How far `holds` and `breaks` are still apart, in the input that differs most [1]."""
        return float(np.max(np.abs(self.breaks - self.holds)))


@dataclass(frozen=True)
class RampLimits:
    """The fastest setpoint ramp that keeps all requirements, from each setpoint to each."""

    setpoints: Array
    """(k,) [held unit]."""
    fastest: Array
    """(k, k) duration of the fastest ramp from row to column that was seen to keep all [s]; inf
    where none did, nan on the diagonal."""
    slowest: Array
    """(k, k) duration of the slowest [s]; `longest` where no slower one was run. All that were run
    between the two kept all."""
    breaks: Array
    """(k, k) column [1] of the requirement that a faster ramp breaks, or, where none keeps all, of
    the one that its best ramp keeps least; -1 where nothing was broken."""
    shortest: float
    """No faster ramp was run [s]."""
    longest: float
    """No slower ramp was run [s]."""
    tolerance: float
    """A ramp faster than the one given by more than this share breaks a requirement [1]."""
    runs: int
    """Made for it [1]."""
    plants: int = 0
    """So many plants of the space, the worst of which decides [1]; 0 for the plant as the scenario
    has it. A slowest duration was then not looked for."""
    left_out: Array | None = None
    """(k, k) plants [1] that break something even in the slowest ramp that the plant as given
    bears, and are left out of that move; None for a single plant."""
    uncured: tuple[int, ...] = ()
    """Columns [1] of the requirements that they break."""

    @property
    def rates(self) -> Array:
        """(k, k) |to − from|/duration [held unit/s]; 0 where no ramp keeps all, nan on the
        diagonal."""
        return np.abs(self.setpoints[None, :] - self.setpoints[:, None]) / self.fastest

    @property
    def free(self) -> Array:
        """(k, k) whether even the shortest ramp keeps all."""
        return (self.breaks < 0) & np.isfinite(self.fastest)

    @property
    def none(self) -> Array:
        """(k, k) whether no ramp that was run keeps all."""
        return np.isinf(self.fastest)

    @property
    def bounded(self) -> Array:
        """(k, k) whether a ramp can be too slow."""
        return np.isfinite(self.fastest) & (self.slowest < self.longest)


def stands_for(limits: RampLimits) -> str:
    """What plant a map of ramps stands for, in words."""
    return (f"for {limits.plants} plants of the space, the worst of them" if limits.plants else
            "for the plant as given")


@dataclass(frozen=True)
class RampRow:
    """One line of the table for the control system: leaving one setpoint."""

    setpoint: float
    """[held unit]."""
    up: float | None
    """Rate that keeps all requirements to every higher setpoint [held unit/s]; 0 where none does,
    None at the top of the range."""
    down: float | None
    """The same to every lower one [held unit/s]; None at the bottom."""
    up_free: bool
    """No ramp up that was run broke anything: `up` is only the fastest that was run."""
    down_free: bool
    """The same down."""
    up_kept: bool
    """Each move up was run once more at the rate of this line, and kept all requirements."""
    down_kept: bool
    """The same down."""


@dataclass(frozen=True)
class Sensitivity:
    """Which inputs matter to one requirement: Sobol indices of its distance."""

    requirement: int
    """Its column [1]."""
    first: Array
    """(d,) share of the distance's variance that an input makes alone [1]; nan where the distance
    did not change."""
    first_band: Array
    """(d, 2) both ends of its confidence band [1]."""
    total: Array
    """(d,) share that would be left if all other inputs were known: alone and together with others
    [1]."""
    total_band: Array
    """(d, 2) both ends of its confidence band [1]."""
    confidence: float
    """Of the bands [1]."""
    runs: int
    """Made for it [1]."""


CUT = 3.0
"""Deviations to either side of the mean at which a normal distribution is cut off."""


@dataclass(frozen=True)
class Input:
    """One thing that varies from run to run. SI."""

    name: str
    """Path in the scenario, or "from", "to", "over" of the setpoint move."""
    kind: str | None
    """Kind of unit; None for a plain number or a factor."""
    form: str
    """Distribution: "uniform", "normal", "triangular", "log", "choice"."""
    numbers: tuple[float, ...]
    """Of the distribution [SI]: ends; mean and deviation; lowest, likeliest, highest; choices."""
    nominal: float | None
    """The scenario's own value [SI]; None where it has none."""

    def value(self, share: float) -> float:
        """The value below which this share of the distribution lies."""
        n = self.numbers
        if self.form == "choice":
            return n[min(int(share * len(n)), len(n) - 1)]
        if self.form == "normal":
            low = NormalDist().cdf(-CUT)
            at = NormalDist().inv_cdf(low + share * (1.0 - 2.0 * low))
            return n[0] + n[1] * min(max(at, -CUT), CUT)
        if self.form == "triangular":
            return _triangular(share, *n)
        if self.form == "log":
            return min(max(n[0] * exp(share * log(n[1] / n[0])), n[0]), n[1])
        return n[0] + share * (n[1] - n[0])

    def share(self, value: float) -> float:
        """The share of the distribution below a value; 0 or 1 beyond its ends."""
        if self.form == "choice":
            near = min(range(len(self.numbers)), key=lambda k: abs(self.numbers[k] - value))
            return (near + 0.5) / len(self.numbers)
        if self.form == "uniform":
            low, high = self.numbers
            return min(max((value - low) / (high - low), 0.0), 1.0)
        low, high = 0.0, 1.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.value(middle) < value else (low, middle)
        return 1.0 if self.value(high) < value else high if low > 0.0 else 0.0


def _triangular(share: float, low: float, mode: float, high: float) -> float:
    wide = high - low
    if share * wide < mode - low:
        return low + sqrt(share * wide * (mode - low))
    return high - sqrt((1.0 - share) * wide * (high - mode))


@dataclass(frozen=True)
class Tolerance:
    """How far one number of tuning or actuator may go alone, to one side. SI."""

    input: Input
    side: str
    """"up" or "down"."""
    nominal: float
    """The scenario's own [SI]."""
    holds: float
    """The last value that was seen to keep all that is kept at the nominal one [SI]."""
    breaks: float | None
    """The first that was seen to break a requirement [SI]; None where none was found up to
    `holds`."""
    requirement: int | None
    """Column of the requirement that it breaks [1]; None where none was found."""

    @property
    def factor(self) -> float:
        """`holds` as a multiple of the nominal value [1]."""
        return self.holds / self.nominal


@dataclass(frozen=True)
class Joint:
    """All requirements together: a run that breaks any of them has failed."""

    failures: int
    """Of the runs laid out [1]."""
    runs: int
    """Laid out [1]."""
    bound: float | None
    """Largest share of failing runs that they leave believable [1]; None for a sample that allows
    none."""
    statement: str
    """The same in words."""


@dataclass(frozen=True)
class Requirement:
    """One limit of the scenario's criteria, or of what decides without one."""

    name: str
    """The key in the scenario's criteria; or "trips", "procedures", "locked_rotor_time", which are
    asked for where the scenario has a row that trips, a start, a time from the motor's maker."""
    limit: float
    """[`unit`]."""
    unit: str
    """"%", "s", "Pa", or "" for a number of cycles, trips, procedures that fail."""
    at: str
    """Whether the limit is the "most" or the "least" allowed."""


@dataclass(frozen=True)
class Verdict:
    """What was found of one requirement."""

    requirement: Requirement
    failures: int
    """Of the runs laid out before the search [1]."""
    fresh: int
    """Runs laid out before the search, none of them looked for [1]."""
    failure_bound: float | None
    """Largest share of failing runs that the fresh ones leave believable [1]; None where they were
    not drawn at random, or there are none."""
    confidence: float
    """Of the bound [1]."""
    statement: str
    """The same in words."""
    worst: Worst
    """Of all runs."""
    change: SmallestChange | None
    """The smallest change from the nominal run that breaks it; None where none was found."""
    broken_at_nominal: bool
    """Whether the scenario as it stands misses it."""
    counterexample: str | None = None
    """File with the worst run, where it is broken and files were wanted."""
    smallest: str | None = None
    """File with the smallest change."""
    history: History | None = None
    """The worst run."""
    values: Mapping[str, float] = field(default_factory=dict)
    """Of the inputs, in the worst run [SI]."""


@dataclass(frozen=True)
class StressAnswer:
    """All that a campaign of varied runs of one strategy found."""

    title: str
    """The scenario's title."""
    strategy: str
    method: str
    """The trade's word for what moves."""
    holds: str
    """"flow" or "pressure"."""
    held_kind: str
    """Kind of unit of the setpoints."""
    runs: int
    """All runs made, of this campaign and before it in the same folder [1]."""
    seed: int
    """Of everything random [1]."""
    inputs: tuple[Input, ...]
    """What varies, in the order of the cube's axes."""
    nominal: Array
    """(d,) the scenario as it stands, as a point of the cube [1]."""
    verdicts: tuple[Verdict, ...]
    """One for each requirement."""
    sampling: str
    """How `fresh` was laid out: "random", independently, "sobol" or "grid"."""
    fresh: Trail
    """Runs laid out before the search."""
    searched: Trail
    """The even sample and the search after it."""
    sampled: int
    """So many runs at the head of `searched` are the even sample [1]."""
    stopped_early: str | None
    """Why the campaign ended before its runs were made; None where it did not."""
    broken_off: bool
    """Whether that was nobody's wish: a full disk, a lost scheduler."""
    not_run: int
    """Runs that could not start or stopped on their numbers; they count as failed [1]."""
    why_not_run: str | None
    """Why the first of them did not."""
    unreached: int
    """Runs [1] that could not start at their setpoint and began at the nearest it holds."""
    nominal_history: History
    """The scenario's own run, or with moves the nominal move."""
    budget: str = ""
    """What could be run, told before it started."""
    joint: Joint | None = None
    """All requirements together; None where no run was laid out."""
    confidence_note: str = ""
    """How the statements of confidence are to be read; "" where there is none."""
    tolerances: tuple[Tolerance, ...] = ()
    """Of tuning and actuators."""
    tolerance_runs: int = 0
    """Made for them, on top of `runs` [1]."""
    ramps: RampLimits | None = None
    """Of the plant as the scenario has it."""
    ramp_table: tuple[RampRow, ...] = ()
    why_no_ramps: str | None = None
    ramps_over: RampLimits | None = None
    """Of the worst of several plants of the space."""
    ramp_table_over: tuple[RampRow, ...] = ()
    why_no_ramps_over: str | None = None
    sensitivity: tuple[Sensitivity, ...] = ()
    why_no_sensitivity: str | None = None
    findings: tuple[str, ...] = ()
    """What else is worth knowing, in plain words."""
    step_s: float = 0.0
    """Inner step of every run [s]."""
    seconds: float = 0.0
    """What the campaign took [s]."""
    file: str | None = None
    fingerprint: str | None = None
