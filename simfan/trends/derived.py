"""Signals that a trend does not have and the scenario makes of those it has, each told."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np

from simfan.assemble import Assembled
from simfan.plant.case import Case
from simfan.trends.room import each
from simfan.trends.trend import Array, Trend, of_element

ROOM = 2.0
"""Loads [of the rating] over which supply and shaft are told apart."""


@dataclass
class Derived:
    """Signals by name, those made here included."""

    signals: dict[str, Array]
    notes: list[str] = field(default_factory=list)
    without: dict[str, str] = field(default_factory=dict)
    """Signal that could not be made → why."""
    made: set[str] = field(default_factory=set)
    stall_rests_on: tuple[str, ...] = ()
    """Signals that the stall line is made of; where they are good it may still not exist."""

    def put(self, name: str, values: Array, how: str) -> None:
        """A signal, and how it was made."""
        self.signals[name] = values
        self.made.add(name)
        self.notes.append(f"{name}: {how}")


def derived(trend: Trend, case: Case, name: str, assembled: Assembled) -> Derived:
    """The trend's signals and all that follow from them and the scenario."""
    found = Derived(dict(trend.signals))
    _held(found, case)
    _speed(found, case, name)
    _powers(found, assembled)
    _stall(found, assembled)
    return found


def _held(found: Derived, case: Case) -> None:
    """The measured value stands for the true one, and for the place where it is measured."""
    signals, control = found.signals, case.control
    if "true_value" not in signals and "measured_value" in signals:
        lag = control.transmitter.lag
        damped = f", which lags by {lag:g} s and hides what is quicker" if lag else ""
        found.put("true_value", signals["measured_value"],
                  f"judged on the measured value{damped}")
    if "measured_value" not in signals and "true_value" in signals:
        found.put("measured_value", signals["true_value"], "as the true value")
    actual = control.holds == "flow" and control.flow_basis == "actual"
    if "fan_flow" not in signals and "true_value" in signals and (
            actual and control.measured_at == "fan"):
        found.put("fan_flow", signals["true_value"], "the flow that the loop holds, at the fan")
    if "volume_pressure" not in signals and "true_value" in signals and (
            control.holds == "pressure" and control.measured_at == "volume"):
        found.put("volume_pressure", signals["true_value"],
                  "the pressure that the loop holds, of the volume")


def _speed(found: Derived, case: Case, name: str) -> None:
    """A drive's reference stands for the wheel's speed; a motor on the line turns at its rated
    speed."""
    signals, strategy = found.signals, case.strategies[name]
    reference = of_element("speed")
    if "speed_ratio" in signals:
        if strategy.speed and reference not in signals:
            found.put(reference, signals["speed_ratio"], "as the wheel's speed")
        return
    if strategy.speed is None:
        ratio = case.motor.rated_speed / case.fan.rated.speed
        found.put("speed_ratio", np.broadcast_to(ratio, len(_any(signals))),
                  "the motor's rated speed, on the line (assumed)")
    elif reference in signals:
        found.put("speed_ratio", signals[reference], "as the drive's reference (assumed)")


def _powers(found: Derived, assembled: Assembled) -> None:
    """Shaft, supply and torque from one another, by the losses that the scenario gives."""
    signals, rotor = found.signals, assembled.plant.rotors.each[0]
    loads, losses = assembled.plant.rotors.loss[0]
    shares = np.union1d(loads, [0.0, ROOM])
    supply = shares + np.interp(shares, loads, losses)
    rated = float(rotor.rated_power)
    if "shaft_power" not in signals and "electrical_power" in signals:
        found.put("shaft_power", each(
            lambda power: rated * np.interp(power / rated, supply, shares),
            signals["electrical_power"]),
                  "the power from the supply less the scenario's losses (assumed)")
    elif "electrical_power" not in signals and "shaft_power" in signals:
        found.put("electrical_power", each(
            lambda power: rated * np.interp(power / rated, shares, supply), signals["shaft_power"]),
                  "the power at the shaft with the scenario's losses (assumed)")
    if "motor_load" not in signals and {"shaft_power", "speed_ratio"} <= signals.keys():
        found.put("motor_load", each(partial(_load, rotor), signals["shaft_power"],
                                     signals["speed_ratio"]),
                  "the torque of the power at the shaft at this speed; what brings the wheel to "
                  "speed is not in it (assumed)")


def _load(rotor: Any, power: Array, n: Array) -> Array:
    """Of the rated torque, above base speed of the rated power [1]; nan at a standstill."""
    with np.errstate(divide="ignore", invalid="ignore"):
        torque = power / (n * float(rotor.rated_speed))
    load = torque / float(rotor.rated_torque) * np.maximum(n / float(rotor.base_speed), 1.0)
    return np.where(n > 0.0, load, np.nan)


def _stall(found: Derived, assembled: Assembled) -> None:
    """Q_stall = n·(Q/n of the stall line at the inlet's opening), as the kernel has it."""
    inlet = int(assembled.plant.fans.each[0].inlet)
    needs = ["speed_ratio"]
    if inlet >= 0:
        needs.append(of_element(assembled.items["element"][inlet]))
    if missing := [need for need in needs if need not in found.signals]:
        found.without["stall_flow"] = f"the stall line needs {' and '.join(missing)}"
        return
    found.stall_rests_on = tuple(needs)
    line = assembled.plant.fans.stall[0]
    linkage = assembled.plant.actuators.linkage[inlet]

    def flow(n: Array, position: Array) -> Array:
        per_speed = line[-1] if inlet < 0 else np.interp(
            np.interp(position, *linkage), np.linspace(0.0, 1.0, len(line)), line)
        return per_speed * np.maximum(n, 0.0)

    found.put("stall_flow", each(flow, found.signals[needs[0]], found.signals[needs[-1]]),
              "the scenario's stall line at the speed and inlet setting of each sample")


def _any(signals: Mapping[str, Array]) -> Array:
    return next(iter(signals.values()))


