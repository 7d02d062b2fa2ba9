"""The assembled plant held still: slopes of its states for given controller outputs."""

import numpy as np

from simfan.assemble import Assembled
from simfan.kernel import entry, layout
from simfan.kernel.layout import Conditions, Schedule

Array = np.ndarray


class Bench:
    """Evaluates the kernel's slopes with the elements standing where the outputs put them.

    The pressure rise follows its curve at once here (a lag moves no steady point), so the unknowns
    are the pressures, flows and speeds: the first `n` entries of the integrated states.
    """

    def __init__(self, assembled: Assembled, schedule: Schedule | None = None, scan: int = 0,
                 lagged: bool = False) -> None:
        plant = assembled.plant
        if assembled.resting is not None:
            plant = plant._replace(actuators=assembled.resting)
        if not lagged:
            plant = plant._replace(fans=plant.fans._replace(
                each=layout.changed(plant.fans.each, lag=0.0)))
        self.plant = plant
        self.off = entry.begins(plant)
        self.n = self.off.rise
        self.cond = Conditions(*[column[scan] for column in schedule or assembled.base])
        self.probe = layout.new_probe(plant)
        self.coef = layout.new_coefficients(plant)
        self.slope = np.zeros(self.off.end)
        self.x = np.zeros(self.off.end)
        n_volumes = plant.network.volume.size
        self.p0 = float(self.cond.pressure[n_volumes])
        cells = plant.fans.cells
        self.p_scale = float(np.max(np.abs(cells[..., 0])))
        self.m_scale = float(np.max(cells.shape[2] / plant.fans.each.per_cell + plant.fans.each.low)
                             * plant.fans.each.density.max())

    def positions(self, outputs: Array) -> Array:
        """(n_actuators,) where the sequence tables put the elements."""
        act = self.plant.actuators.each
        return np.array([entry.demand(self.plant, a, outputs[act.loop[a]])
                         for a in range(act.size)])

    def stand(self, outputs: Array) -> None:
        """Let the elements stand where these outputs put them."""
        entry.stand(self.plant, self.cond, self.positions(outputs), self.coef, self.probe)

    def slopes(self, x: Array) -> Array:
        """dx/dt of all integrated states, with the probe filled."""
        entry.slopes(self.plant, self.coef, self.cond, x, self.slope, self.probe)
        return self.slope

    def residual(self, z: Array) -> Array:
        """(n,) scaled imbalance at scaled unknowns: mass, pressure, torque, all about 1 at most."""
        d = self.slopes(self.unscaled(z))
        off, scale = self.off, self.plant.rotors.each
        return np.concatenate([d[:off.flow] / self.coef.stiffness / self.m_scale,
                               d[off.flow:off.speed] * self.coef.inertance / self.p_scale,
                               d[off.speed:off.rise] * scale.momentum / scale.rated_torque])

    def unscaled(self, z: Array) -> Array:
        """Integrated states at scaled unknowns."""
        off = self.off
        self.x[:off.flow] = self.p0 + z[:off.flow] * self.p_scale
        self.x[off.flow:off.speed] = z[off.flow:off.speed] * self.m_scale
        self.x[off.speed:off.rise] = z[off.speed:off.rise]
        return self.x

    def scaled(self, x: Array) -> Array:
        """The scaled unknowns of these states."""
        off = self.off
        return np.concatenate([(x[:off.flow] - self.p0) / self.p_scale,
                               x[off.flow:off.speed] / self.m_scale, x[off.speed:off.rise]])

    def held(self, loop: int = 0) -> float:
        """The true value of what the loop holds, at the last evaluation."""
        return float(entry.held(self.plant, self.coef, self.cond, self.probe, loop)[0])

    def sensed(self, loop: int = 0) -> float:
        """The same as the transmitter sees it."""
        return float(entry.held(self.plant, self.coef, self.cond, self.probe, loop)[1])

    def small(self) -> Array:
        """(m,) small changes of the integrated states, without the book-keeping of mass moved."""
        off = self.off
        return 1e-5 * np.concatenate([
            np.full(off.flow, self.p_scale), np.full(off.speed - off.flow, self.m_scale),
            np.ones(off.rise - off.speed), np.full(off.reading - off.rise, self.p_scale),
            np.full(off.moved - off.reading, self.m_scale)])

    def jacobian(self, x: Array) -> Array:
        """(m, m) ∂(dx/dt)/∂x by central differences, m without the book-keeping of mass moved."""
        size = self.small()
        matrix = np.empty((size.size, size.size))
        for i in range(size.size):
            sides = []
            for sign in (1.0, -1.0):
                moved = x.copy()
                moved[i] += sign * size[i]
                sides.append(self.slopes(moved)[:size.size].copy())
            matrix[:, i] = (sides[0] - sides[1]) / (2.0 * size[i])
        return matrix
