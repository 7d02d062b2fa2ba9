"""What a procedure sees of the plant at an instant: the plant itself, after the last step."""

import numpy as np

from simfan.assemble import Assembled
from simfan.assemble.ductwork import AMBIENT, VOLUME
from simfan.kernel import entry, layout
from simfan.kernel.layout import (
    ALARM,
    ON_DRIVE,
    OVERLOAD,
    TICK,
    TRIP,
    Conditions,
    Probe,
    Schedule,
    State,
    Traces,
)
from simfan.plant.procedure_steps import there


class Seen:
    """The first fan of a plant, looked at once an instant."""

    def __init__(self, assembled: Assembled, state: State, traces: Traces) -> None:
        self.assembled, self.plant = assembled, assembled.plant
        self.state, self.traces = state, traces
        self.off = entry.begins(self.plant)
        self.probe = layout.new_probe(self.plant)
        self.coef = layout.new_coefficients(self.plant)
        self.slope = np.zeros(self.off.end)
        self.rotor = self.plant.rotors.each[0]
        self.trips = np.flatnonzero(self.plant.guards.effect == TRIP)
        self.hand = assembled.loops.hand if assembled.loops else 0

    def look(self, plan: Schedule) -> None:
        """As things stand, under the conditions of this scan; the equations are evaluated once
        something asks for what is no state."""
        self.plan, self.scan = plan, int(self.state.counts[TICK]) // self.plant.scan_steps
        self.powered = bool(plan.power[self.scan, 0] > 0.0) and not self.tripped
        self.evaluated = False

    @property
    def _probe(self) -> Probe:
        """Of the equations now."""
        if not self.evaluated:
            self._evaluate()
        return self.probe

    def _evaluate(self) -> None:
        self.evaluated = True
        cond = Conditions(*[column[self.scan] for column in self.plan])
        self.coef.fan.power[:] = float(self.powered)
        self.coef.shutter[:] = self.state.shutter
        entry.stand(self.plant, cond, self.state.position, self.coef, self.probe)
        entry.slopes(self.plant, self.coef, cond, self.state.moving, self.slope, self.probe)

    @property
    def speed(self) -> float:
        """Of rated speed; negative backwards [1]."""
        return float(self.state.moving[self.off.speed])

    @property
    def up(self) -> float:
        """Speed over that which the motor or its drive brings it to [1]."""
        aim = self.rotor.synchronous
        if self.rotor.mode == ON_DRIVE:
            aim = self.state.demand[self.rotor.actuator]
        return self.speed / max(float(aim), 1e-9)

    @property
    def on_line(self) -> bool:
        """Whether the motor starts on the line, without a drive."""
        return bool(self.rotor.mode == layout.ON_LINE)

    @property
    def flow(self) -> float:
        """At the fan's inlet [m³/s]."""
        return float(self._probe.fan[0].flow)

    @property
    def pressure(self) -> float:
        """Of the volume, against the air around it [Pa]."""
        return float(self._probe.pressure[VOLUME] - self._probe.pressure[AMBIENT])

    @property
    def load(self) -> float:
        """Of what the motor may give for good [1]."""
        n = float(self._probe.fan[0].speed)
        torque = float(self._probe.fan[0].motor_torque) / self.rotor.rated_torque
        return torque * max(n / self.rotor.base_speed, 1.0)

    @property
    def stall_margin(self) -> float | None:
        """(Q − Q_stall)/Q; None without flow or without a stall line."""
        flow = self.flow
        opening = float(self.coef.fan[0].opening)
        line = entry.stall_flow(self.plant, 0, self.speed, opening)
        return (flow - line) / flow if flow > 0.0 and np.isfinite(line) else None

    @property
    def reading(self) -> float:
        """What the controller last saw [held unit]."""
        return float(self.state.loop[0].reading)

    @property
    def raises(self) -> bool:
        """Whether more output, which is more flow, raises what is held."""
        return float(self.plant.loops[0].gain) >= 0.0

    @property
    def output(self) -> float:
        """Of the loop that goes to manual [1]."""
        return float(self.state.loop[self.hand].output)

    @property
    def lags(self) -> dict[str, float]:
        """How far each element with a stroke stands from its demand, of the stroke [1]."""
        return {name: abs(float(self.state.position[a] - self.state.demand[a]))
                for a, name in enumerate(self.assembled.items["element"]) if name != "speed"}

    @property
    def there(self) -> dict[str, float]:
        """Within which each of them counts as standing where it is told, of the stroke [1]."""
        return {e.name: there(e.backlash, e.stick) for e in self.assembled.elements
                if e.name != "speed"}

    @property
    def isolation(self) -> float | None:
        """Where the isolation damper stands, 1 is open; None without one."""
        names = self.assembled.items["shutter"]
        if "isolation damper" not in names:
            return None
        return float(self.state.shutter[names.index("isolation damper")])

    @property
    def tripped(self) -> bool:
        """Whether a protection holds the motor off."""
        return self.trips.size > 0 and bool(np.any(self.state.guard["holds"][self.trips] == 1))

    @property
    def held(self) -> bool:
        """Whether a protection holds the controller's output."""
        takes = (self.plant.guards.effect != ALARM) & (self.plant.guards.output >= 0.0)
        return bool(np.any(self.state.guard.holds[takes] == 1))

    @property
    def too_warm(self) -> bool:
        """Whether the motor's heat is still above a trip of its overload."""
        guards = self.plant.guards
        heats = (guards.counts == OVERLOAD) & (guards.effect == TRIP)
        return bool(np.any(self.state.guard.beyond[heats] >= guards.limit[heats] ** 2))

    def missing(self, backspin: float) -> str:
        """What forbids switching the motor on, in words; empty where nothing does. `backspin` is
        the backward speed from which the wheel does, of rated speed."""
        found = ["the motor is too warm"] if self.too_warm else []
        if self.speed < -backspin:
            found.append(f"the wheel turns backwards at {-100.0 * self.speed:.3g} %")
        return ", ".join(found)

    def rotor_heat(self, since: int) -> float:
        """∫ T·(ω_s − ω) dt [J] from step `since` to now, by the recorded samples."""
        first, last = since // self.plant.record_steps, self._recorded
        n = self.traces.speed_ratio[first:last, 0]
        over = np.maximum(n / self.rotor.base_speed, 1.0)
        torque = self.traces.motor_load[first:last, 0] * self.rotor.rated_torque / over
        slip = (self.rotor.synchronous - n) * self.rotor.rated_speed
        return float(np.trapezoid(torque * slip, dx=self.plant.record_steps * self.plant.step))

    @property
    def locked_power(self) -> float:
        """What heats the rotor while it is locked on the line [W]."""
        standstill = self.plant.rotors.start[0, 0] * self.rotor.rated_torque
        return float(standstill * self.rotor.synchronous * self.rotor.rated_speed)

    @property
    def _recorded(self) -> int:
        """Samples written so far."""
        return -(-int(self.state.counts[TICK]) // self.plant.record_steps)
