"""Runs on this machine, on several cores: this process and others like it.

The kernel lets go of Python's lock, but what comes before and after it in a run does not, so two
threads of one process are hardly quicker than one. Another process costs some seconds until it has
loaded the kernel; few runs are made here alone. The bits are the same wherever a run is made.
"""

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from math import ceil

from simfan.stress.chunk import Shared
from simfan.stress.store import Outcome
from simfan.stress.worker import Made, Worker, make
from simfan.stress_answer import Array

CHUNK = 0.5
"""What was made comes back after so long [s], to be kept and told."""
FIRST = 2
"""Runs of a chunk before their time is known."""
PAYS = 6.0
"""Other processes are started once the runs that were asked for would take this one longer [s];
each takes about half of that to load."""

Found = list[tuple[Array, Outcome]]
Make = Callable[[Shared, list[Array]], Made]
Going = dict[Future[Made], tuple[Make, list[Array]]]


class Local:
    """The cores of this machine."""

    def __init__(self, cores: int, pays: float = PAYS) -> None:
        self.cores, self.pays = cores, pays
        self.each = 0.0
        """Time of a run [s]; 0 where not known yet."""
        self.asked = 0
        self.workers: list[Worker] = []

    def outcomes(self, shared: Shared, points: Sequence[Array]) -> Iterator[Found]:
        """The runs at these points, by chunks as they are finished; those that are when the user
        stops, too."""
        left, going = deque(points), Going()
        self.asked += len(left)
        with ThreadPoolExecutor(self.cores) as pool:
            try:
                while left or going:
                    self._send(shared, left, going, pool)
                    wait(going, return_when=FIRST_COMPLETED)
                    yield self._finished(going)
            except KeyboardInterrupt:
                wait(going)
                yield self._finished(going)
                raise

    def close(self) -> None:
        """End the other processes."""
        for worker in self.workers:
            worker.close()
        self.workers.clear()

    def _send(self, shared: Shared, left: deque[Array], going: Going, pool: ThreadPoolExecutor
              ) -> None:
        """A chunk to everyone who has nothing to do."""
        if not self.workers and self.each * self.asked > self.pays:
            self.workers = [Worker() for _ in range(self.cores - 1)]
        makers: list[Make] = [make, *(worker.make for worker in self.workers)]
        busy = [maker for maker, _ in going.values()]
        for maker in [m for m in makers if m not in busy]:
            here = [left.popleft() for _ in range(self._size(len(left), len(makers)))]
            if here:
                going[pool.submit(maker, shared, here)] = maker, here

    def _size(self, left: int, makers: int) -> int:
        """Runs of the next chunk."""
        size = ceil(CHUNK / self.each) if self.each else FIRST
        return min(size, ceil(left / makers))

    def _finished(self, going: Going) -> Found:
        found: Found = []
        for future in [f for f in going if f.done()]:
            _, here = going.pop(future)
            made, seconds = future.result()
            self.each = seconds / len(here)
            found += zip(here, made, strict=True)
        return found
