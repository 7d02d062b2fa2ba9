"""A run of a search whose settling or overshoot its transmitter's noise decides, and not the loop.

A search would go after moves too small to be seen. So they are judged by the same run without
noise, and told. See `metrics.noise` for how they are recognised.
"""

from collections.abc import Sequence
from dataclasses import replace

from simfan.metrics.calmed import broken, calmed
from simfan.metrics.noise import TIMES, least_move
from simfan.plant.case import Case
from simfan.signals import HELD_UNITS
from simfan.simulate import simulate
from simfan.stress.store import Outcome
from simfan.stress_answer import Requirement


def of_the_loop(asked: Sequence[Requirement], case: Case, strategy: str, found: Outcome
                ) -> Outcome:
    """The outcome with changes that noise decides judged without it. Runs it again, with and
    without noise, only where noise may have decided."""
    if not case.control.transmitter.noise or found.why or not broken(asked, found.distances):
        return found
    run = simulate(case, strategy)
    room, scatter = calmed(asked, found.distances, run, case.criteria)
    return replace(found, distances=room, noise=scatter)


def told(case: Case, every: Sequence[Outcome]) -> tuple[str, ...]:
    """In how many runs noise decided, from which size of move on it does not, and what to do."""
    scatters = [o.noise for o in every if o.noise]
    if not scatters:
        return ()
    sigma, unit = max(scatters), HELD_UNITS[case.control.held_kind]
    return (f"in {len(scatters)} of {len(every)} runs the transmitter's noise, and not the loop, "
            f"decides settling and overshoot: it moves the true value by up to {sigma:.2g} {unit} "
            f"(standard deviation), and the settling band of a move below "
            f"{least_move(sigma, case.criteria):.2g} {unit} is no wider than {TIMES:g} times that. "
            "These moves were judged by the same run without noise, and break nothing by noise "
            "alone. To judge moves with their noise: larger ones under stress.moves, or a wider "
            "criteria.band",)
