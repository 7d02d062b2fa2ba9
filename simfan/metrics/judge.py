"""From a history to what is said of it."""

from simfan.history import History
from simfan.metrics.columns import computed
from simfan.metrics.energy import energy
from simfan.metrics.excursions import excursions
from simfan.metrics.in_operation import in_operation
from simfan.metrics.noise import of_the_loop
from simfan.metrics.results import Measures
from simfan.metrics.tracking import tracking
from simfan.metrics.travel import travel
from simfan.plant.case import Criteria


def judge(history: History, criteria: Criteria) -> Measures:
    """Measure a run, whoever made it: simulated here or recorded on a plant.

    A run that stopped on its numbers is measured as far as its samples are numbers.
    Raises ValueError where fewer than two samples are.
    """
    run = computed(history)
    if not can_be_judged(run):
        raise ValueError(
            f"nothing to judge in {history.facts.strategy!r}: {len(run.time)} samples are numbers; "
            "at least 2 are needed"
        )
    return Measures(
        tracking=of_the_loop(tracking(in_operation(run, criteria), criteria.band), run, criteria),
        energy=energy(run),
        excursions=excursions(run, criteria),
        travel=travel(run),
        audit=history.audit,
    )


def can_be_judged(history: History) -> bool:
    """Whether at least two samples are numbers."""
    return len(computed(history).time) >= 2
