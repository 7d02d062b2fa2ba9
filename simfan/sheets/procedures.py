"""Start and stop: one line for each step, with what permits it, then the numbers they stand on.

A scenario that describes none has a line that says so.
"""

from collections.abc import Iterator, Mapping

from simfan.plant.procedure import CONDITIONS
from simfan.plant.procedure_steps import Step
from simfan.sheets.known import Known
from simfan.sheets.sheet import UNIT, Cell, Path, Sheet, na, sheet, unit_of
from simfan.sheets.typed import rounded, value_at

COLUMNS = ("Procedure", "Step", "Action", "Tag", "Permissive", "At most [s]", "If it is not met",
           "Value", UNIT)
DEVICE = {"by hand": "loop", "release": "loop", "setpoint": "loop", "switch on": "motor",
          "switch off": "motor", "run up": "motor", "coast": "fan", "permit": "motor",
          "wait": "motor"}
"""Action → whose tag stands beside it."""
SETTINGS = {
    "start": (
        ("output", "output while the fan runs up"), ("isolation_damper", "isolation damper then"),
        ("backspin", "fastest backward turning, of rated speed"),
        ("permissives_within", "permissives within"), ("speed_within", "speed within"),
        ("setpoint", "setpoint after release"), ("over", "ramp to it")),
    "purge": (
        ("output", "output while purging"), ("flow", "least flow"), ("lasts", "purge lasts"),
        ("within", "purge proven within")),
    "stop": (
        ("output", "output before the motor goes off"), ("over", "ramp to it"),
        ("isolation_damper", "isolation damper, motor off"),
        ("at_rest", "counts as standing below, of rated speed"),
        ("standstill_within", "standstill within")),
    "restart": (
        ("wait", "wait after the trip"), ("speed_below", "wheel below first, of rated speed"),
        ("attempts", "restarts at most")),
    "run_back": (
        *((key, key.replace("_", " ")) for key in CONDITIONS), ("after", "for so long"),
        ("setpoint", "setpoint"), ("over", "ramp to it")),
}
"""Table of `procedures` → its keys, and what they are."""
STANDS_ON: Mapping[str, Cell] = {"Value": na("see the settings below"), UNIT: na("no number")}
NO_STEP: Mapping[str, Cell] = {"Step": "setting"} | dict.fromkeys(
    ("Tag", "Permissive", "At most [s]", "If it is not met"), na("a setting"))
NONE = "the scenario describes no start and no stop; the site's own procedure stands"


def procedures(known: Known) -> Sheet:
    """Every step of every procedure."""
    return sheet("procedures", "Start and stop",
                 "Steps in their order, with permissives; below them the numbers that they stand "
                 "on, which are what is typed in and run. Lock-out, purge and restart are the "
                 "site's and its codes' to rule.", COLUMNS, (*_steps(known), *_settings(known)),
                 NONE)


def _steps(known: Known) -> Iterator[Mapping[str, Cell]]:
    """A line for each step of the case's procedures, every column filled."""
    for name, steps in known.case.procedure_steps.items():
        for number, step in enumerate(steps, start=1):
            yield {"Procedure": name, "Step": str(number), "Action": step.words,
                   "Tag": _tag(known, step),
                   "Permissive": ", ".join(step.permissives) or na("the step before is done"),
                   "At most [s]": na("it takes its own time") if step.within is None
                   else rounded(step.within), "If it is not met": _failure(step), **STANDS_ON}


def _tag(known: Known, step: Step) -> str:
    """Of the device that a step is about; a purge is proven by a flow, be it the one held."""
    if step.action == "purge":
        return (known.tag("transmitter") if known.case.control.holds == "flow" else
                na("which instrument proves it is the site's to say"))
    device = DEVICE.get(step.action)
    return known.tag(device) if device else na("no tag for this damper")


def _failure(step: Step) -> str:
    if not step.failure:
        return na("it is told, nothing else")
    then = "told, and on all the same" if step.goes_on else "the procedure ends"
    return f"{then}: {step.failure.replace(': {}', '').replace('{}', '')}"


def _settings(known: Known) -> Iterator[Mapping[str, Cell]]:
    """A line for each number of a procedure that is there."""
    for name, table, at in _tables(known):
        for key, what in SETTINGS[table]:
            value = known.cell((*at, key), "not given")
            if isinstance(value, str) and key in CONDITIONS:
                continue
            yield {"Procedure": name, **NO_STEP, "Action": what, "Value": value,
                   UNIT: unit_of(value)}


def _tables(known: Known) -> Iterator[tuple[str, str, Path]]:
    """Name of a procedure, its entry of SETTINGS, its place in the scenario."""
    for name, at in (("start", ("procedures", "start")),
                     ("purge", ("procedures", "start", "purge")),
                     ("stop", ("procedures", "stop")), ("restart", ("procedures", "restart"))):
        if all(value_at(known.case, at[:n]) is not None for n in range(1, len(at) + 1)):
            yield name if name != "purge" else "start: purge", name, at
    for k in range(len(known.case.procedures.run_back) if known.case.procedures else 0):
        yield f"run-back {k + 1}", "run_back", ("procedures", "run_back", k)
