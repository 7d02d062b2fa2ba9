"""The worst point of a space: a sample of all of it, ranked, then a search from the worst few.

The sample is a scrambled Sobol sequence, whose points lie evenly. Then, for each requirement,
differential evolution from the worst points of all runs up to there, and Nelder–Mead from the worst
few that lie apart. A requirement that all runs meet equally well gives a search no slope: its
share of the budget goes into more of the sample.
"""

import warnings
from collections.abc import Callable
from time import monotonic

import numpy as np
from scipy.optimize import differential_evolution, minimize
from scipy.stats import qmc

from simfan.stress.tally import Array, Budget, Evaluate, Spent, Tally
from simfan.stress_answer import STOPPED, Searched, Trail, Worst

SAMPLED = 0.4
"""Share of the runs that go into the sample."""
EVOLVED = 0.7
"""Of what is left for a requirement, the share for differential evolution."""
POPULATION = 12
"""Points that evolve; each generation is one batch, so that threads have work."""
STARTS = 2
"""Of Nelder–Mead."""
APART = 0.15
"""Starts lie further apart than this along one input at least [share of its range]."""
SIMPLEX = 0.05
"""First steps of Nelder–Mead [share of a range]."""
FINE = 1e-4
"""Nelder–Mead ends where its points lie so close together [share of a range]."""


def told(found: Worst) -> str:
    """What was found of one requirement, in words; never that a space is safe."""
    if found.first_broken is None:
        return f"none found in {found.runs} runs"
    return f"broken, first in run {found.first_broken} of {found.runs}"


def search(evaluate: Evaluate, inputs: int, requirements: int, budget: Budget, seed: int,
           clock: Callable[[], float] = monotonic) -> Searched:
    """The worst point for each requirement that the budget allows.

    The same seed gives the same runs, whatever evaluates them; a budget in seconds may cut them
    short. Raises ValueError where there is nothing to vary, Spent where there was time for no run.
    """
    if inputs < 1 or budget.runs < 1:
        raise ValueError(f"{inputs} inputs and {budget.runs} runs: nothing to search")
    tally = Tally(evaluate, budget, clock)
    sample = qmc.Sobol(inputs, rng=np.random.default_rng([seed, 0]))
    sampled = _sample(tally, sample, sample_size(budget.runs))
    if not tally.runs:
        raise Spent
    for column in range(requirements):
        share = tally.left // (requirements - column)
        if _level(tally.trail().distances[:, column]):
            _sample(tally, sample, share)
        else:
            _pursue(tally, column, share, np.random.default_rng([seed, 1, column]))
    trail = tally.trail()
    return Searched(tuple(worst(trail, k) for k in range(requirements)), trail, sampled, tally.late)


def sample_size(runs: int) -> int:
    """The largest power of two within the sample's share; Sobol points lie even at those."""
    return 1 << max(0, int(SAMPLED * runs).bit_length() - 1)


def worst(trail: Trail, column: int) -> Worst:
    """The worst of all runs for one requirement; one that stopped on its numbers only where none
    that came to its end broke it."""
    distances = trail.distances[:, column]
    at = _pursued(trail, column)[0]
    if distances[at] >= 0.0:
        at = trail.ranked(column)[0]
    return Worst(trail.points[at], float(distances[at]), len(distances),
                 int(np.count_nonzero(distances < 0.0)), trail.first_broken(column))


def _level(distances: Array) -> bool:
    """Whether all runs that came to their end met the requirement equally well."""
    found = distances[distances > STOPPED]
    return not found.size or bool(np.ptp(found) == 0.0)


def _ended(distances: Array) -> Array:
    """A run that stopped on its numbers is no way to a worse one: all are alike."""
    return np.where(distances <= STOPPED, -STOPPED, distances)


def _pursued(trail: Trail, column: int) -> Array:
    """(n,) places of the runs, the worst that ended first."""
    return np.argsort(_ended(trail.distances[:, column]), kind="stable")


def _sample(tally: Tally, sample: qmc.Sobol, runs: int, batch: int = 64) -> int:
    """Run the next points of the sequence; how many there was time for."""
    before = tally.runs
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # of lengths that are no power of two
        try:
            for start in range(0, runs, batch):
                tally.allow(batch)
                tally(sample.random(min(batch, runs - start)))
        except Spent:
            pass
    return tally.runs - before


def _pursue(tally: Tally, column: int, runs: int, rng: np.random.Generator) -> None:
    """Differential evolution, then Nelder–Mead, within so many runs."""
    last = tally.runs + runs
    try:
        tally.allow(int(EVOLVED * runs))
        _evolve(tally, column, rng)
    except Spent:
        pass
    for k, start in enumerate(apart(tally.trail(), column)):
        try:
            tally.allow((last - tally.runs) // (STARTS - k))
            _descend(tally, column, start)
        except Spent:
            pass


def _evolve(tally: Tally, column: int, rng: np.random.Generator) -> None:
    """From the worst points known; ends by the budget, or where the points have come together."""
    trail = tally.trail()
    first = trail.points[_pursued(trail, column)[:POPULATION]]
    if len(first) < POPULATION:
        first = np.vstack([first, rng.random((POPULATION - len(first), first.shape[1]))])
    differential_evolution(lambda x: _ended(tally(x.T)[:, column]), [(0.0, 1.0)] * first.shape[1],
                           init=first, rng=rng, vectorized=True, updating="deferred",
                           polish=False, maxiter=tally.budget.runs)


def _descend(tally: Tally, column: int, start: Array) -> None:
    steps = np.where(start + SIMPLEX <= 1.0, SIMPLEX, -SIMPLEX)
    simplex = np.vstack([start, start + np.diag(steps)])
    minimize(lambda x: float(_ended(tally(x)[0, column])), start, method="Nelder-Mead",
             bounds=[(0.0, 1.0)] * start.size,
             options={"initial_simplex": simplex, "xatol": FINE, "fatol": 0.0})


def apart(trail: Trail, column: int) -> list[Array]:
    """The worst few points that are not the same place."""
    found: list[Array] = []
    for at in _pursued(trail, column):
        point = trail.points[at]
        if all(np.max(np.abs(point - other)) > APART for other in found):
            found.append(point)
        if len(found) == STARTS:
            break
    return found
