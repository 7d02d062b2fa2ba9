"""Start and stop: one line for each step, with what permits it.

A scenario that describes none has a line that says so.
"""

from collections.abc import Iterator, Mapping

from simfan.plant.procedure_steps import Step
from simfan.sheets.known import Known
from simfan.sheets.sheet import Cell, Sheet, na, sheet
from simfan.sheets.typed import rounded

COLUMNS = ("Procedure", "Step", "Action", "Tag", "Permissive", "At most [s]", "If it is not met")
DEVICE = {"by hand": "loop", "release": "loop", "setpoint": "loop", "switch on": "motor",
          "switch off": "motor", "run up": "motor", "coast": "fan", "permit": "motor",
          "purge": "fan", "wait": "motor"}
"""Action → whose tag stands beside it."""
NONE = "the scenario describes no start and no stop; the site's own procedure stands"


def procedures(known: Known) -> Sheet:
    """Every step of every procedure."""
    return sheet("procedures", "Start and stop",
                 "Steps in their order, with permissives. Lock-out, purge and restart are the "
                 "site's and its codes' to rule.", COLUMNS, _steps(known), NONE)


def _steps(known: Known) -> Iterator[Mapping[str, Cell]]:
    """A line for each step of the case's procedures, every column filled."""
    for name, steps in known.case.procedure_steps.items():
        for number, step in enumerate(steps, start=1):
            device = DEVICE.get(step.action)
            yield {"Procedure": name, "Step": str(number), "Action": step.words,
                   "Tag": known.tag(device) if device else na("no tag for this damper"),
                   "Permissive": ", ".join(step.permissives) or na("the step before is done"),
                   "At most [s]": na("it takes its own time") if step.within is None
                   else rounded(step.within), "If it is not met": _failure(step)}


def _failure(step: Step) -> str:
    if not step.failure:
        return na("it is told, nothing else")
    return f"the procedure ends: {step.failure.replace(': {}', '').replace('{}', '')}"
