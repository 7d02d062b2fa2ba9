"""The kernel's controller alone, closed around processes that the tests write themselves."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from simfan.kernel import entry, layout
from tests.plants import begin, plain


class Loop:
    """A controller whose value spans 0 to `span` and whose output goes from `low` to `high`.

    The gain is output over value. The value is put where the transmitter's lag would have brought
    it.
    """

    def __init__(self, dt: float, gain: float, reset: float, *, low: float = 0.0, high: float = 1.0,
                 span: float = 1.0, starts: float = 0.0, value: float = 0.0, **tuning: Any) -> None:
        controller = {"gain": gain * span / (high - low), "reset": reset} | tuning
        strategy = {"speed": {"ramp_up": 1.0, "ramp_down": 1.0, "minimum": 0.0},
                    "controller": controller}
        case = plain(control={"scan": dt, "span": span, "transmitter": {"lag": 1.0}}, timeline=[],
                     run={"duration": dt, "starts_at": 0.5}, strategies={"it": strategy})
        assembled, self.schedule, _ = begin(case, "it", dt)
        self.plant, self.state = assembled.plant, layout.rest(assembled.plant)
        self.probe = layout.new_probe(self.plant)
        self.coef = layout.new_coefficients(self.plant)
        self.slope = np.zeros(self.state.moving.size)
        self.reading = int(entry.begins(self.plant).reading)
        self.dt, self.low, self.width = dt, low, high - low
        self.state.moving[0] = self.schedule.pressure[0, 1]
        self.state.loop.integral[0] = (starts - low) / self.width
        self.state.loop.reading[0] = value

    def tune(self, **fields: float) -> None:
        """Replace kernel fields of the tuning while it runs."""
        self.plant = self.plant._replace(loops=layout.changed(self.plant.loops, **fields))

    def scan(self, setpoint: float, value: float) -> float:
        """Controller output for these."""
        self.schedule.setpoint[0, 0] = setpoint
        self.state.moving[self.reading] = value
        entry.scan(self.plant, self.schedule, self.state, self.slope, self.coef, self.probe)
        return self.low + self.width * float(self.state.loop.output[0])


class Controllers:
    """All controllers of a strategy, without a plant: the test writes what they read, on spans."""

    def __init__(self, dt: float, strategy: Mapping[str, Any], starts: float, value: float
                 ) -> None:
        case = plain(control={"scan": dt, "span": 1.0}, timeline=[],
                     run={"duration": dt, "starts_at": 0.5}, strategies={"it": strategy})
        assembled, self.schedule, _ = begin(case, "it", dt)
        self.plant, self.state = assembled.plant, layout.rest(assembled.plant)
        self.probe = layout.new_probe(self.plant)
        self.coef = layout.new_coefficients(self.plant)
        self.slope = np.zeros(self.state.moving.size)
        self.at = int(entry.begins(self.plant).reading)
        self.state.moving[0] = self.schedule.pressure[0, 1]
        self.low, self.span = self.plant.transmitters.low, self.plant.transmitters.span
        self.n = self.plant.loops.size
        self.state.loop.integral[:] = self.state.loop.output[:] = starts
        self.state.loop.reading[:] = self.low + self.span * value

    def scan(self, setpoint: float, *values: float) -> float:
        """Output of the first loop for what all of them read."""
        self.schedule.setpoint[0, 0] = self.low[0] + self.span[0] * setpoint
        self.state.moving[self.at:self.at + self.n] = self.low + self.span * np.array(values)
        entry.scan(self.plant, self.schedule, self.state, self.slope, self.coef, self.probe)
        return float(self.state.loop.output[0])


class Lagged:
    """K·e^(−θs)/(τs + 1), exact for an output held between scans; θ a whole number of scans."""

    def __init__(self, dt: float, gain: float, lag: float, dead_time: float = 0.0,
                 starts: float = 0.0) -> None:
        self.decay, self.gain = float(np.exp(-dt / lag)), gain
        self.waiting = [starts / gain] * round(dead_time / dt)
        self.value = starts

    def move(self, output: float) -> float:
        """Value at the next scan."""
        self.waiting.append(output)
        target = self.gain * self.waiting.pop(0)
        self.value = target + (self.value - target) * self.decay
        return self.value


def close(loop: Loop, process: Lagged, duration: float, setpoint: Callable[[float], float],
          load: Callable[[float], float] = lambda t: 0.0) -> tuple[np.ndarray, ...]:
    """(time, value, output) at every scan; the load adds to the output at the process."""
    n = round(duration / loop.dt)
    time, value, output = np.arange(n) * loop.dt, np.empty(n), np.empty(n)
    for k, t in enumerate(time):
        value[k] = process.value
        output[k] = loop.scan(setpoint(float(t)), process.value)
        process.move(output[k] + load(float(t)))
    return time, value, output
