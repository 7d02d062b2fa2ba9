"""The worst point of a space: a sample of all of it, ranked, then a search from the worst few.

The sample is a scrambled Sobol sequence, whose points lie evenly. Then differential evolution, one
generation at a time, each for the requirement that promises most, from the worst points of all runs
made for any of them; and Nelder–Mead from the worst few that lie apart. Most is spent on what is
nearest to its limit; a requirement that all runs meet equally well gives a search no slope, and
where none has one the sample goes on.
"""

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic

import numpy as np
from scipy.optimize import differential_evolution, minimize
from scipy.stats import qmc

from simfan.stress.tally import Array, Budget, Evaluate, Spent, Tally
from simfan.stress_answer import STOPPED, Searched, Trail, Worst

SAMPLED = 0.4
"""Share of the runs that go into the sample; runs that are known already count into it, and half of
it is made in any case."""
EVOLVED = 0.5
"""Of what is left, the share for differential evolution."""
FEWEST, MOST = 6, 12
"""Points that evolve; each generation is one batch, so that threads have work."""
GENERATIONS = 16
"""So many are worth more than a larger number of points."""
BROKEN = 0.5
"""Weight of a requirement that is broken, where one that just holds has 1."""
STARTS = 2
"""Of Nelder–Mead, for one requirement."""
PAYS = 2
"""Nelder–Mead gets at least so many times the points of its first simplex, or is left out."""
APART = 0.15
"""Starts lie further apart than this along one input at least [share of its range]."""
SIMPLEX = 0.05
"""First steps of Nelder–Mead [share of a range]."""
FINE = 1e-4
"""Nelder–Mead ends where its points lie so close together [share of a range]."""


@dataclass
class Hunt:
    """Of one requirement's worst."""

    column: int
    rng: np.random.Generator
    population: Array | None = None
    generations: int = 0
    idle: int = 0
    """Generations since the last that found a worse point."""

    def due(self, trail: Trail) -> float:
        """Whose turn it is: the largest. Divided by the turns it had (D'Hondt), and halved for each
        that found nothing."""
        return promise(trail, self.column) * 0.5**self.idle / (1 + self.generations)


def told(found: Worst) -> str:
    """What was found of one requirement, in words; never that a space is safe."""
    if found.first_broken is None:
        return f"none found in {found.runs} runs"
    return f"broken, first in run {found.first_broken} of {found.runs}"


def search(evaluate: Evaluate, inputs: int, requirements: int, budget: Budget, seed: int,
           clock: Callable[[], float] = monotonic, known: Trail | None = None) -> Searched:
    """The worst point for each requirement that the budget allows.

    `known` are runs made before, which cost nothing and from which the search sets out, too; they
    head the trail. The same seed gives the same runs, whatever evaluates them; a budget in seconds
    may cut them short. Raises ValueError where there is nothing to vary, Spent where there was time
    for no run.
    """
    if inputs < 1 or budget.runs < 1:
        raise ValueError(f"{inputs} inputs and {budget.runs} runs: nothing to search")
    tally = Tally(evaluate, budget, clock, known)
    before = 0 if known is None else len(known.points)
    sample = qmc.Sobol(inputs, rng=np.random.default_rng([seed, 0]))
    sampled = _sample(tally, sample, sample_size(budget.runs, before))
    if not tally.runs:
        raise Spent
    hunts = [Hunt(k, np.random.default_rng([seed, 1, k])) for k in range(requirements)]
    left = tally.left
    polish = int((1.0 - EVOLVED) * left)
    _evolve(tally, sample, hunts, polish if polish >= PAYS * (inputs + 1) else 0,
            int(np.clip(left // GENERATIONS, FEWEST, MOST)))
    _polish(tally, hunts, inputs)
    _sample(tally, sample, tally.left)
    trail = tally.trail()
    return Searched(tuple(worst(trail, k) for k in range(requirements)), trail, sampled, tally.late)


def sample_size(runs: int, known: int = 0) -> int:
    """The largest power of two within the sample's share; Sobol points lie even at those."""
    share = max(SAMPLED * (runs + known) - known, 0.5 * SAMPLED * runs)
    return 1 << max(0, int(share).bit_length() - 1)


def promise(trail: Trail, column: int) -> float:
    """1/(1 + least room/deviation of all): nearly 1 at the limit; 0 without a slope. Half for what
    is broken: that it fails is known, how badly is not."""
    distances = trail.distances[:, column]
    found = distances[distances > STOPPED]
    if not found.size or np.ptp(found) == 0.0:
        return 0.0
    least = float(np.min(found))
    return BROKEN if least < 0.0 else 1.0 / (1.0 + least / float(np.std(found)))


def worst(trail: Trail, column: int) -> Worst:
    """The worst of all runs for one requirement; one that stopped on its numbers only where none
    that came to its end broke it."""
    distances = trail.distances[:, column]
    at = _pursued(trail, column)[0]
    if distances[at] >= 0.0:
        at = trail.ranked(column)[0]
    return Worst(trail.points[at], float(distances[at]), len(distances),
                 int(np.count_nonzero(distances < 0.0)), trail.first_broken(column))


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


def _evolve(tally: Tally, sample: qmc.Sobol, hunts: list[Hunt], reserve: int, size: int) -> None:
    """Generation after generation, until so many runs are left."""
    while tally.left - reserve >= size and not tally.late:
        trail, before = tally.trail(), tally.runs
        hunt = max(hunts, key=lambda h: h.due(trail))
        if hunt.due(trail) == 0.0:
            _sample(tally, sample, size)
            continue
        _generation(tally, hunt, trail, size)
        better = tally.trail().distances[:, hunt.column]
        hunt.idle = 0 if better.min() < trail.distances[:, hunt.column].min() else hunt.idle + 1
        if tally.runs == before and all(h.idle for h in hunts if promise(trail, h.column)):
            return


def _generation(tally: Tally, hunt: Hunt, trail: Trail, size: int) -> None:
    """The next one, in which the worst run known that is not of the population stands for its
    mildest."""
    first = _population(hunt, trail, size)
    hunt.generations += 1
    tally.allow(tally.left)
    try:
        found = differential_evolution(
            lambda x: _ended(tally(x.T)[:, hunt.column]), [(0.0, 1.0)] * first.shape[1],
            init=first, rng=hunt.rng, vectorized=True, updating="deferred", polish=False,
            maxiter=1)
        hunt.population = found.population[np.argsort(found.population_energies, kind="stable")]
    except Spent:
        pass


def _population(hunt: Hunt, trail: Trail, size: int) -> Array:
    worst_first = trail.points[_pursued(trail, hunt.column)]
    if hunt.population is None:
        more = hunt.rng.random((max(0, size - len(worst_first)), worst_first.shape[1]))
        return np.vstack([worst_first[:size], more])
    kept = hunt.population[: size - 1]
    new = next((p for p in worst_first if not (kept == p).all(axis=1).any()), kept[0])
    return np.vstack([kept, new])


def _polish(tally: Tally, hunts: list[Hunt], inputs: int) -> None:
    """Nelder–Mead for each requirement, the most promising first, each with its share of the runs
    or with none."""
    trail, least = tally.trail(), PAYS * (inputs + 1)
    order = sorted(hunts, key=lambda h: -promise(trail, h.column))
    weights = [promise(trail, h.column) for h in order]
    for k, hunt in enumerate(order):
        if tally.late or tally.left < least or not weights[k]:
            return
        share = max(least, int(tally.left * weights[k] / sum(weights[k:])))
        starts = apart(tally.trail(), hunt.column)[: max(1, share // (2 * least))]
        for n, start in enumerate(starts):
            before = tally.runs
            try:
                tally.allow(share // (len(starts) - n))
                _descend(tally, hunt.column, start)
            except Spent:
                pass
            share -= tally.runs - before


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
