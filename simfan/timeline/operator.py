"""Procedures as processes: one step after the other, each waiting for the plant."""

from collections.abc import Callable, Generator
from dataclasses import replace
from math import ceil

import numpy as np
import simpy

from simfan.history import Carried
from simfan.kernel.layout import TICK
from simfan.plant.procedure_steps import ELEMENTS_THERE, THERE, UP, Step
from simfan.timeline.seen import Seen
from simfan.timeline.stage import Stage
from simfan.timeline.starts import Starts, heat_words
from simfan.units import show

Steps = Generator[simpy.Event, None, None]


class GivenUp(Exception):
    """A step that cannot be done; the words say why."""


class Procedure:
    """One procedure under way."""

    def __init__(self, stage: Stage, seen: Seen, starts: Starts, name: str) -> None:
        self.stage, self.seen, self.starts, self.name = stage, seen, starts, name
        self.env = stage.env
        self.number = 0
        self.should_run = False
        self.amiss: list[str] = []
        self.waits: Callable[[], str] = str
        self.record = Carried(name, stage.now)

    def carried_out(self, steps: tuple[Step, ...], because: str = "") -> Steps:
        """All steps, or up to the one that cannot be done."""
        self.stage.tell(f"{self.name} begins" + (f" ({because})" if because else ""), self.name)
        self.should_run = self.seen.powered and self.name != "stop"
        try:
            for self.number, step in enumerate(steps, start=1):
                yield from self._tried(step)
        except GivenUp as why:
            self._fail(str(why))
        except simpy.Interrupt as by:
            self._end("broken off", f"{by.cause} {self.waits()}")
        else:
            self._end("complete", "; ".join(self.amiss))

    def _tried(self, step: Step) -> Steps:
        """One step; what cannot be done is told where the procedure goes on without it."""
        self._at(step)
        try:
            yield from self._done(step)
        except GivenUp as why:
            if not step.goes_on:
                raise
            self.amiss.append(str(why))
            self._tell(f"warning: {why}; the {self.name} goes on")

    def _done(self, step: Step) -> Steps:
        does = {"damper": self._damper, "by hand": self._by_hand, "permit": self._permit,
                "switch on": self._switch_on, "run up": self._run_up, "purge": self._purge,
                "release": self._release, "setpoint": self._setpoint, "wait": self._wait,
                "switch off": self._switch_off, "coast": self._coast}
        yield from does[step.action](step)

    def _damper(self, step: Step) -> Steps:
        self._tell(step.words)
        self.stage.dials["isolation"].turn(step.to)
        stands = lambda: self.seen.isolation  # noqa: E731
        yield from self._until(lambda: abs((stands() or 0.0) - step.to) <= THERE, step,
                               lambda: f" (stands at {100.0 * (stands() or 0.0):.3g} %)")

    def _by_hand(self, step: Step) -> Steps:
        self._tell(step.words.removesuffix(ELEMENTS_THERE))
        self.stage.dials["manual"].ramp(step.to, self.stage.scans(step.over), self.seen.output)
        self.stage.instants.append(self.stage.now)
        yield self.env.timeout(self.stage.scans(step.over) + 1)
        left = replace(step, within=(step.within or 0.0) - step.over)
        yield from self._until(lambda: not self._away(), left, lambda: f" ({self._away()})")
        within = ", ".join(f"{name} within {_percent(most)}"
                           for name, most in self.seen.there.items())
        self._tell("elements there" + (f": {within}" if within else ""))

    def _away(self) -> str:
        """Elements that are not where they are told."""
        most = self.seen.there
        return ", ".join(f"{name} off by {_percent(off)}, {_percent(most[name])} allowed"
                         for name, off in self.seen.lags.items() if off > most[name])

    def _permit(self, step: Step) -> Steps:
        missing = lambda: self.seen.missing(step.to)  # noqa: E731
        if refused := self.starts.refused(self.stage.now) if self.seen.on_line else "":
            raise GivenUp(f"refused: {refused}")
        yield from self._until(lambda: not missing(), step, missing)
        self._tell("permissives hold")

    def _switch_on(self, step: Step) -> Steps:
        self._tell(step.words, "motor on")
        self.hot = self.starts.hot(self.stage.now)
        self.starts.count(self.stage.now)
        self.stage.dials["motor"].turn(self.stage.switched_on())
        self.switched = int(self.seen.state.counts[TICK])
        self.stage.instants.append(self.stage.now)
        yield self.env.timeout(1)
        self.should_run = True

    def _run_up(self, step: Step) -> Steps:
        yield from self._until(lambda: self.seen.up >= UP, step,
                               lambda: f" ({100.0 * self.seen.up:.3g} % of it)")
        took = self._since_switched
        self.record = replace(self.record, speed_after_s=took)
        words = f"speed reached after {took:.3g} s"
        if self.seen.on_line:
            words += "; the rotor " + self._heat()
        self._tell(words, "at speed")

    @property
    def _since_switched(self) -> float:
        plant = self.seen.plant
        return float((self.seen.state.counts[TICK] - self.switched) * plant.step)

    def _heat(self) -> str:
        """What the start did to the rotor, beside what its maker allows."""
        heat = self.seen.rotor_heat(self.switched)
        locked = heat / self.seen.locked_power
        allowed = self.starts.allowed(self.hot)
        self.record = replace(self.record, rotor_heat_j=heat, locked_s=locked, hot=self.hot,
                              allowed_s=allowed)
        return heat_words(locked, allowed, self.hot)

    def _purge(self, step: Step) -> Steps:
        self._tell(step.words)
        self._at(step, lambda: f"flow {self._flow}")
        last = self.env.now + ceil((step.within or 0.0) / self.stage.scan)
        proven = 0
        while proven * self.stage.scan < step.lasts - 1e-9:
            if self.env.now >= last:
                raise GivenUp(step.failure.format(f" (flow {self._flow})"))
            self._check()
            yield self.env.timeout(1)
            proven = proven + 1 if self.seen.flow >= step.flow else 0
        self._tell("purge proven", "purged")

    @property
    def _flow(self) -> str:
        return show(self.seen.flow, "volume flow", digits=3)

    def _release(self, step: Step) -> Steps:
        """The setpoint tracks the reading a scan ahead: in manual the integral follows it."""
        if self.seen.held:
            raise GivenUp(step.failure.format("a protection holds the output"))
        kind = self.stage.case.control.held_kind
        reading = self.seen.reading
        self.stage.dials["setpoint"].turn(reading)
        yield self.env.timeout(1)
        self._check()
        self.record = replace(self.record, released_s=self.stage.now)
        self.stage.dials["manual"].turn(np.nan)
        self._tell(f"released to automatic at {show(reading, kind, digits=4)}", "released")
        self.stage.instants.append(self.stage.now)
        yield self.env.timeout(1)

    def _setpoint(self, step: Step) -> Steps:
        self._tell(step.words)
        self.stage.setpoint_to(step.to, step.over, self.stage.now)
        yield from self._lasts(step.over)

    def _wait(self, step: Step) -> Steps:
        self.should_run = False
        self._tell(step.words)
        yield self.env.timeout(ceil(step.lasts / self.stage.scan - 1e-9))
        left = replace(step, within=(step.within or 0.0) - step.lasts)
        yield from self._until(lambda: self.seen.speed < step.to, left,
                               lambda: f" ({100.0 * self.seen.speed:.3g} % of rated speed)")

    def _switch_off(self, step: Step) -> Steps:
        self._tell(step.words, "motor off")
        self.should_run = False
        self.switched = int(self.seen.state.counts[TICK])
        self.stage.dials["motor"].turn(0.0)
        self.stage.instants.append(self.stage.now)
        yield self.env.timeout(1)

    def _coast(self, step: Step) -> Steps:
        self._at(step, lambda: f"{_percent(self.seen.speed)} of rated speed")
        last = self.env.now + ceil((step.within or 0.0) / self.stage.scan)
        while abs(self.seen.speed) >= step.to and self.env.now < last:
            yield self.env.timeout(1)
        took = self._since_switched
        if abs(self.seen.speed) >= step.to:
            way = "backwards " if self.seen.speed < 0.0 else ""
            self._tell(f"the wheel still turns {way}at {100.0 * abs(self.seen.speed):.3g} % of "
                       f"rated speed after {took:.3g} s: the air drives it")
            return
        self.record = replace(self.record, standstill_after_s=took)
        self._tell(f"standstill after {took:.3g} s", "standstill")

    def _lasts(self, time: float) -> Steps:
        """A time during which the motor should go on running."""
        end = self.env.now + self.stage.scans(time)
        while self.env.now < end:
            self._check()
            yield self.env.timeout(1)

    def _until(self, holds: Callable[[], bool], step: Step, seen: Callable[[], str]) -> Steps:
        """Scan by scan until something holds, or no longer than the step may take."""
        last = self.env.now + ceil((step.within or 0.0) / self.stage.scan - 1e-9)
        self._at(step, seen)
        while not holds():
            self._check()
            if self.env.now >= last:
                raise GivenUp(step.failure.format(seen()))
            yield self.env.timeout(1)

    def _at(self, step: Step, seen: Callable[[], str] = str) -> None:
        """Kept for who breaks it off, and for the end of the run: the step, and what it sees."""
        def words() -> str:
            found = seen().strip(" ()")
            return f"at step {self.number}, {step.words}" + (f": {found}" if found else "")
        self.waits = words

    def _check(self) -> None:
        if self.should_run and not self.seen.powered:
            raise GivenUp("a trip" if self.seen.tripped else "the motor lost its supply")

    def _tell(self, what: str, short: str = "") -> None:
        self.stage.tell(f"{self.name} {self.number}: {what}", short)

    def _fail(self, why: str) -> None:
        """The motor goes off where this procedure had switched it on."""
        off = self.should_run and not self.seen.tripped
        if off:
            self.stage.dials["motor"].turn(0.0)
        self._end("failed", why + ("; motor off" if off else ""))

    def left_off(self) -> None:
        """The run is over before the procedure is."""
        self._tell("under way at the end of the run")
        self.stage.carried.append(replace(self.record, why=self.waits()))

    def _end(self, outcome: str, why: str) -> None:
        self.stage.carried.append(replace(self.record, ended_s=self.stage.now, outcome=outcome,
                                          why=why))
        self.stage.tell(f"{self.name} {outcome}" + (f": {why}" if why else ""),
                        "" if outcome == "complete" else outcome)


def _percent(share: float) -> str:
    return f"{100.0 * share:.3g} %"
