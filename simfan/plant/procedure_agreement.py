"""Whether procedures agree with the loop, and events with the procedures."""

from collections.abc import Iterator, Sequence

from simfan.errors import Problem
from simfan.plant.control import Control
from simfan.plant.events import Event
from simfan.plant.procedure import Procedures
from simfan.plant.setpoints import setpoint_amiss


def procedures_amiss(procedures: Procedures | None, control: Control, timeline: Sequence[Event]
                     ) -> Iterator[Problem]:
    """Setpoints of the kind held and within reach; what an event begins must be described."""
    for place, event in enumerate(timeline):
        if event.procedure and not (procedures and getattr(procedures, event.procedure)):
            yield Problem(("timeline", place, "procedure"),
                          f'"{event.procedure}" without a description',
                          f"a table procedures.{event.procedure}")
    if procedures is None:
        return
    if procedures.start:
        yield from setpoint_amiss(("procedures", "start", "setpoint"), procedures.start.setpoint,
                                  control)
    for place, row in enumerate(procedures.run_back):
        yield from setpoint_amiss(("procedures", "run_back", place, "setpoint"), row.setpoint,
                                  control)
