"""How far a campaign is, in one line: part, runs, failures, rate, the most time that is left."""

from collections import deque
from collections.abc import Callable
from time import monotonic

OVER_S = 20.0
"""The rate is that of the last so many seconds: the first runs wait for the compiled kernel."""

Progress = Callable[[str, float], None]


class Telling:
    """Counts runs and tells of them."""

    def __init__(self, strategy: str, kept: int, asked: int, progress: Progress | None,
                 clock: Callable[[], float] = monotonic) -> None:
        self.strategy, self.kept, self.progress, self.clock = strategy, kept, progress, clock
        self.part = "at the start"
        self.asked = asked
        """Runs that there will be at the most."""
        self.made = self.failed = 0
        self._lately: deque[tuple[float, int]] = deque()

    def __call__(self, made: int, failed: int) -> None:
        """So many runs were made since the start, and so many of them failed."""
        self.made, self.failed = made, failed
        now = self.clock()
        if not self._lately or made > self._lately[-1][1]:
            self._lately.append((now, made))
        while len(self._lately) > 2 and now - self._lately[1][0] > OVER_S:
            self._lately.popleft()
        if self.progress:
            share = (self.kept + made) / max(self.asked, 1)
            self.progress(self.words(now), min(1.0, share))

    def words(self, now: float) -> str:
        """The line."""
        runs, rate = self.kept + self.made, self.rate(now)
        before = f" ({self.kept} before)" if self.kept else ""
        said = [f"{self.strategy}: {runs} runs{before}", f"{self.failed} failed"]
        if rate:
            said.append(f"{rate:.3g}/s")
        if rate and self.asked > runs:
            said.append(f"up to {_time((self.asked - runs) / rate)} left")
        return ", ".join([*said, self.part])

    def rate(self, now: float) -> float:
        """Runs a second, lately [1/s]; 0 before the first."""
        since, made = self._lately[0] if self._lately else (now, self.made)
        return (self.made - made) / max(now - since, 1e-9)


def _time(seconds: float) -> str:
    if seconds < 100.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 6000.0 else f"{seconds / 3600.0:.1f} h"
