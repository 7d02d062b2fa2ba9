"""Time a step, times real time, and the ratio to odeint at equal accuracy, on one core."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from simfan.kernel import entry, layout
from tests.benchmarks.conftest import Tell
from tests.benchmarks.flat import Flat, by_arguments, windows
from tests.benchmarks.runs import SCAN, Going, best, going, to
from tests.reference import Reference

pytestmark = pytest.mark.benchmark

DURATION = 960.0
"""[s] simulated."""
RUNS = {
    "damper after the volume, open": ("after", to(40.0)),
    "damper before the volume, open": ("before", to(36.0)),
    "variable speed": ("speed", to(36.0)),
    "damper before the volume, nearly shut": ("before", to(4.0)),
}
STEPPED: list[dict[str, Any]] = [{"at": 10 * SCAN, "setpoint": 36.0},
                                 {"at": 100 * SCAN, "setpoint": 30.0}]
N_SCANS = 168
AGAINST_ODEINT = {
    "damper before the volume": ("before", STEPPED, 42),
    "variable speed": ("speed", STEPPED, 42),
    "damper after the volume, in surge": ("after", to(15.0), 12),
}
"""Strategy, timeline, scans in a window: 10 s, or three surge periods."""
TOLERANCES = [10.0 ** (-0.25 * k) for k in range(8, 41)]


@pytest.mark.parametrize("what", RUNS)
def test_time_of_a_step(what: str, benchmark: Any, tell: Tell) -> None:
    run = going(*RUNS[what], DURATION)
    state = benchmark.pedantic(run.go, rounds=9, warmup_rounds=2)
    seconds = benchmark.stats.stats.min
    stiff = int(state.counts[layout.STIFF]) / run.plant.last_tick
    benchmark.extra_info["times_real_time"] = run.seconds / seconds
    tell(what, f"{1e9 * seconds / run.plant.last_tick:6.0f} ns a step of 20 ms, "
               f"{run.seconds / seconds:8,.0f} x real time, stiff in {100 * stiff:.0f} % of steps")
    assert (stiff > 0.5) is ("nearly shut" in what)


@dataclass(frozen=True)
class Held:
    """A run held against the reference: errors as shares of each state's range."""

    run: Going
    per_window: int
    theirs: np.ndarray
    whole: list[layout.State]
    extent: np.ndarray
    n_kept: int
    error: float


def held(run: Going, per_window: int) -> Held:
    """The kernel's largest error of any state at any scan."""
    ours, theirs, whole = windows(run.plant, run.plan, run.start, N_SCANS, per_window)
    extent = np.ptp(theirs, axis=0)
    still = extent <= 1e-6 * np.abs(theirs).max(axis=0)
    extent[still] = 1e30
    n_kept = int(entry.begins(run.plant).moved)
    error = float((np.abs(ours - theirs) / extent)[:, :n_kept].max())
    extent[n_kept:] = 1e30  # the book-keeping of mass moved shall cost odeint nothing
    return Held(run, per_window, theirs, whole, extent, n_kept, error)


def matched(known: Held, other: Flat) -> tuple[float, float]:
    """The loosest tolerance, in shares of range, with an error no larger than the kernel's."""
    kept = slice(0, known.n_kept)
    for tolerance in TOLERANCES:
        other.allowed = tolerance * known.extent
        error = 0.0
        for scan in range(N_SCANS):
            if scan % known.per_window == 0:
                other.put(known.whole[scan])
            other.one_scan()
            away = np.abs(other.moving - known.theirs[scan]) / known.extent
            error = max(error, float(away[kept].max()))
        if error <= known.error:
            return tolerance, error
    raise AssertionError(f"odeint does not reach the kernel's error of {known.error:.1e}")


@pytest.mark.parametrize("what", AGAINST_ODEINT)
def test_ratio_to_odeint_at_the_same_accuracy(what: str, benchmark: Any, tell: Tell) -> None:
    """odeint with a compiled right-hand side, the same equations, the same scans.

    Its tolerance is the loosest at which the largest error of any state at any scan of any window,
    against SciPy's LSODA at rtol 1e-9, is no larger than the kernel's.
    """
    name, timeline, per_window = AGAINST_ODEINT[what]
    run = going(name, timeline, N_SCANS * SCAN)
    known, other = held(run, per_window), Flat(run.plant, run.plan, run.start)
    tolerance, error = matched(known, other)
    benchmark.pedantic(run.go, rounds=9, warmup_rounds=2)
    kernel = best(run.go, rounds=15)
    ratio = best(lambda: other.through(run.start, N_SCANS)) / kernel
    plainly = best(lambda: by_arguments(
        Reference(run.plant, run.plan, layout.copy(run.start)), N_SCANS, other.allowed)) / kernel
    benchmark.extra_info.update(ratio_to_odeint=ratio, ratio_by_arguments=plainly)
    tell(f"odeint / kernel, {what}",
         f"{ratio:5.1f} x flat entry, {plainly:5.1f} x plant as arguments; errors "
         f"{error:.0e} (odeint, tolerance {tolerance:.0e} of range), {known.error:.0e} (kernel)")
    assert ratio > 3.0
