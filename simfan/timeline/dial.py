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
        self.turns = 0
        """How often it was written: who finds more than his own was taken over by a later one."""

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
        here[:] = _line(begin, to, here.size, scans)

    def follow(self, scans: np.ndarray, values: np.ndarray) -> None:
        """Straight lines between points, from now; the last value holds."""
        here = self._ahead
        n = ceil(scans[-1] - 1e-9)
        here[:] = np.interp(np.minimum(np.arange(here.size), n), scans, values)

    def bound(self, to: float, scans: int, sign: float) -> bool:
        """What is written ahead, but nowhere above a straight line from here down to `to`; with a
        sign of -1 nowhere below one up to it. Whether that changed anything."""
        here = self.values[int(self.env.now):]
        line = _line(max(sign * self.now, sign * to), sign * to, here.size, scans)
        bounded = sign * np.minimum(sign * here, line)
        if np.array_equal(bounded, here):
            return False
        self._ahead[:] = bounded
        return True

    @property
    def _ahead(self) -> np.ndarray:
        """From now on, to be written."""
        self.turned = True
        self.turns += 1
        return self.values[int(self.env.now):]


def _line(begin: float, to: float, size: int, scans: int) -> np.ndarray:
    """(size,) straight from one value to another in so many scans, or a step for none."""
    if scans == 0:
        return np.full(size, to)
    return begin + (to - begin) * np.minimum(np.arange(size), scans) / scans
