"""The kernel's equations in SciPy's hands: continuous between scans, tight tolerance."""

from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_ivp

from simfan.kernel import entry, layout
from simfan.kernel.layout import TICK, Plant, Schedule, State


class Reference:
    """A plant integrated by SciPy from scan to scan, deciding by the kernel's own controllers."""

    def __init__(self, plant: Plant, schedule: Schedule, state: State) -> None:
        self.plant, self.schedule, self.state = plant, schedule, state
        self.probe = layout.new_probe(plant)
        self.coef = layout.new_coefficients(plant)
        self.slope = np.zeros(state.moving.size)
        self.position = np.zeros(state.position.size)

    def derivative(self, t: float, x: np.ndarray) -> np.ndarray:
        """dx/dt at t seconds after the scan."""
        entry.slopes_between_scans(t, x, self.plant, self.schedule, self.state, self.slope,
                                   self.coef, self.probe, self.position)
        return self.slope.copy()

    def one_scan(self, solve: Callable[..., np.ndarray] | None = None) -> np.ndarray:
        """Integrated states at the next scan."""
        entry.scan(self.plant, self.schedule, self.state, self.slope, self.coef, self.probe)
        span = self.plant.scan_steps * self.plant.step
        x0 = self.state.moving.copy()
        if solve is None:
            # a fifth at a time: an actuator that reaches its end bends the slopes on the way
            out = solve_ivp(self.derivative, (0.0, span), x0, method="LSODA", rtol=1e-9,
                            atol=1e-9 * np.maximum(np.abs(x0), 1e-3), max_step=span / 5.0)
            x = out.y[:, -1]
        else:
            x = solve(self, span, x0)
        self.derivative(span, x)
        self.state.moving[:] = x
        self.state.stem[:] = self.state.position[:] = self.position
        self.state.counts[TICK] += self.plant.scan_steps
        return x
