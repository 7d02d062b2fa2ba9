"""Events at their times: each turns a dial and leaves a line in the log."""

from collections.abc import Generator

import numpy as np
import simpy

from simfan.plant.case import Case
from simfan.plant.control import LostSignal
from simfan.plant.events import Event, Profile
from simfan.plant.fault import LOST, SHUTTERS, Fault
from simfan.timeline.stage import ELEMENTS, Played, Stage
from simfan.units import show

__all__ = ["AS_IT_IS", "ELEMENTS", "READINGS", "Played", "Steps", "happen", "play"]

READINGS = {"frozen": 1.0, "lost low": 2.0, "lost high": 3.0}
"""State of a transmitter on its dial."""
DIALS = {"biased": "bias", "noisy": "noise", **dict.fromkeys(READINGS, "reading")}
"""State of a transmitter → the dial that shows it."""
AS_IT_IS = -1.0
"""On the dial of manual output: hold what the controller gives."""
Steps = Generator[simpy.Event, None, None]


def play(case: Case) -> Played:
    """The schedule of a case, procedures left out: they wait for the plant."""
    stage = Stage(case)
    for event in case.timeline:
        if event.procedure is None:
            stage.env.process(happen(stage, event))
    stage.env.run(until=stage.n_scans)
    return stage.played()


def happen(stage: Stage, event: Event) -> Steps:
    """One event of the timeline, at its time."""
    yield stage.env.timeout(stage.scans(event.at))
    if event.fault is not None:
        yield from _ail(stage, event, event.fault)
        return
    name, target = _target(event)
    dial = stage.dials[name]
    if event.motor == "restart":
        target = stage.switched_on()
    kind = KINDS.get(name) or stage.case.control.held_kind
    stage.tell(_words(name, dial.now, target, event, kind), _short(name, target, event), event.at)
    if isinstance(target, Profile):
        dial.follow(np.array(target.time) / stage.scan, np.array(target.setpoint))
    elif name == "setpoint":
        stage.setpoint_to(target, event.over, event.at)
    else:
        dial.ramp(target, stage.scans(event.over))
    if (name == "ambient_temperature" and isinstance(target, float)
            and stage.case.ductwork.volume_temperature is None):
        stage.dials["gas_temperature"].ramp(target, stage.scans(event.over))


def _ail(stage: Stage, event: Event, fault: Fault) -> Steps:
    """A fault begins, and ends where it lasts a time; or the device is well again."""
    words = fault.words + (f" over {event.over:.4g} s" if event.over else "")
    if fault.state in LOST and stage.case.control.lost_signal:
        words += f"; {_answered(stage, stage.case.control.lost_signal)}"
    stage.tell(f"{words} ({event.because})" if event.because else words, event.because or words,
               event.at)
    at_rest = _at_rest(stage, fault.of)
    if fault.state == "well":
        for name, value in at_rest.items():
            stage.dials[name].turn(value)
        return
    name = DIALS.get(fault.state, f"{fault.state} {fault.of}")
    value = READINGS.get(fault.state, 1.0 if fault.by is None else fault.by)
    dial = stage.dials[name]
    dial.ramp(value, stage.scans(event.over))
    mine = dial.turns
    if fault.lasts is not None:
        yield stage.env.timeout(stage.scans(fault.lasts))
        if dial.turns != mine:
            return
        dial.turn(at_rest[name])
        stage.tell(f"{fault.of}: no longer {fault.state}", f"{fault.of} well")


def _at_rest(stage: Stage, of: str) -> dict[str, float]:
    """The dials of a device that is well."""
    if of == "transmitter":
        return {"reading": 0.0, "bias": 0.0, "noise": stage.case.control.transmitter.noise}
    if of in SHUTTERS:
        return {f"stuck {of}": 0.0}
    return {f"stuck {of}": 0.0, f"slow {of}": 1.0, f"offset {of}": 0.0}


def _answered(stage: Stage, lost: LostSignal) -> str:
    """What the controller does on a lost signal, where it is in automatic."""
    manual = stage.dials["manual"]
    if not np.isnan(manual.now):
        return "the controller is in manual"
    if lost.answer == "manual":
        manual.turn(AS_IT_IS)
    return lost.words


def _target(event: Event) -> tuple[str, float | Profile]:
    """Which dial, and where to."""
    if event.profile is not None:
        return "setpoint", event.profile
    if event.automatic:
        return "manual", np.nan
    if event.manual_output is not None:
        return "manual", event.manual_output
    if event.instrument_air is not None:
        return "air", 1.0 if event.instrument_air == "lost" else 0.0
    if event.motor is not None:
        return "motor", 0.0
    if event.isolation is not None:
        return "isolation", 1.0 if event.isolation == "open" else 0.0
    for name in KINDS:
        value = getattr(event, name)
        if value is not None:
            return name, float(value)
    raise AssertionError("an event without a change is refused by the case")


KINDS = {"setpoint": None, "process_resistance": "fraction", "inlet_resistance": "fraction",
         "fixed_pressure": "pressure", "ambient_temperature": "temperature",
         "gas_temperature": "temperature", "barometer": "absolute pressure", "noise": "fraction"}
"""Dials with a value, and its kind of unit; the setpoint's is that of what is held."""


def _words(name: str, now: float, target: float | Profile, event: Event, kind: str) -> str:
    """A line for the log."""
    if isinstance(target, Profile):
        words = f"setpoint follows a profile for {target.time[-1]:.4g} s"
    elif name == "manual":
        words = ("controller to automatic" if np.isnan(target)
                 else f"controller to manual at {100.0 * target:.4g} %")
    elif name == "air":
        words = "instrument air lost" if target else "instrument air back"
    elif name == "isolation":
        words = f"isolation damper driven {'open' if target else 'shut'}"
    elif name == "motor":
        words = ("motor started again, trips reset" if target else "motor loses its supply")
    else:
        words = f"{name.replace('_', ' ')} {_from_to(now, target, kind)}"
    if event.over:
        words += f" over {event.over:.4g} s"
    return f"{words} ({event.because})" if event.because else words


def _short(name: str, target: float | Profile, event: Event) -> str:
    """A word or two for a picture."""
    if event.because:
        return event.because
    by_itself = isinstance(target, float) and np.isnan(target)
    at_once = {"manual": "automatic" if by_itself else "manual",
               "air": "air lost" if target else "air back",
               "motor": "motor on" if target else "supply lost"}
    return at_once.get(name, name.replace("_", " "))


def _from_to(now: float, target: float, kind: str) -> str:
    """Such as "45 → 36 m3/s"."""
    before, after = show(now, kind, digits=4), show(target, kind, digits=4)
    number, _, unit = before.partition(" ")
    return f"{number} → {after}" if after.endswith(unit) else f"{before} → {after}"
