"""A quantity that events and procedures turn."""

from math import ceil

import numpy as np
import simpy


class Dial:
    """One value for each scan, written from now on; SimPy's clock counts scans. What was written
    ahead by an earlier turn is taken back by a later one."""

    def __init__(self, env: simpy.Environment, start: float, n_scans: int) -> None:
        self.env = env
        self.values = np.full(n_scans, start)
        self.turned = False
        """Whether anything was written since somebody looked."""

    @property
    def now(self) -> float:
        """The present value."""
        return float(self.values[int(self.env.now)])

    def turn(self, value: float) -> None:
        """From now on."""
        self._ahead[:] = value

    def ramp(self, to: float, scans: int, start: float | None = None) -> None:
        """A straight line from the present value, or from `start`, or a step for no scans."""
        begin, here = self.now if start is None else start, self._ahead
        here[:] = begin + (to - begin) * np.minimum(np.arange(here.size), scans) / max(scans, 1)
        if scans == 0:
            here[:] = to

    def follow(self, scans: np.ndarray, values: np.ndarray) -> None:
        """Straight lines between points, from now; the last value holds."""
        here = self._ahead
        n = ceil(scans[-1] - 1e-9)
        here[:] = np.interp(np.minimum(np.arange(here.size), n), scans, values)

    @property
    def _ahead(self) -> np.ndarray:
        """From now on, to be written."""
        self.turned = True
        return self.values[int(self.env.now):]
