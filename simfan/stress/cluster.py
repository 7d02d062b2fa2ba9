"""Runs on other machines: the workers of a Dask scheduler that somebody started.

A task is a chunk of runs that takes some seconds. Tasks of a worker that dies go to another one;
what came back is kept by the campaign, so neither a lost worker nor a lost scheduler costs more
than the chunks that were on their way.
"""

from __future__ import annotations

import asyncio
import logging
import platform
import re
import warnings
from collections import deque
from collections.abc import Iterator, Sequence
from math import ceil
from time import monotonic
from typing import TYPE_CHECKING, Any

from simfan.errors import RunError
from simfan.stress.chunk import Shared
from simfan.stress.local import Found
from simfan.stress.program import differences, program
from simfan.stress.worker import Made, make
from simfan.stress_answer import Array

if TYPE_CHECKING:
    from distributed import Client, Future

ANSWERS_WITHIN = 5.0
"""[s] for the scheduler, and as long for a first worker."""
ALONE = 60.0
"""Waits so long for a worker once there is none left [s]."""
TASK = 2.0
"""A task shall take so long [s]."""
FIRST = 2
"""Runs of a task before their time is known."""
AHEAD = 2
"""Tasks on their way for each thread of the workers: one that runs, one that waits."""
LOOK = 1.0
"""Looks at the workers at least this often [s]."""

_SAME = "Install the same there: runs shall be the same to the last bit wherever they are made"


class Cluster:
    """The workers behind a scheduler."""

    def __init__(self, address: str) -> None:
        """Connect. RunError where Dask is not installed, nobody answers, no worker is there, or
        scheduler or workers have other versions than this machine."""
        self.address = address
        self.client = _connected(address)
        self.each = 0.0
        """Time of a run [s], on the quickest worker; 0 where not known yet."""
        try:
            self._see_workers()
            self._compare()
        except BaseException:
            self.close()
            raise

    def outcomes(self, shared: Shared, points: Sequence[Array]) -> Iterator[Found]:
        """The runs at these points, by chunks as they come back; an empty one at least every
        second. RunError where the scheduler is lost, or all workers for a minute."""
        left = deque(points)
        going: dict[Future, list[Array]] = {}
        try:
            while left or going:
                self._send(shared, left, going)
                for future in self._back(going):
                    made, seconds = self._result(future)
                    here = going.pop(future)
                    self.each = min(self.each or seconds, seconds / len(here))
                    yield list(zip(here, made, strict=True))
                yield []
        finally:
            if self.client.status == "running":
                self.client.cancel(list(going))

    def close(self) -> None:
        """Let go of the scheduler, which goes on."""
        self.client.close(timeout=ANSWERS_WITHIN)

    @property
    def threads(self) -> int:
        """Of all workers that are there now."""
        found = self.client.scheduler_info(n_workers=-1)["workers"].values()
        return sum(worker["nthreads"] for worker in found)

    def _send(self, shared: Shared, left: deque[Array], going: dict[Future, list[Array]]) -> None:
        """Chunks, until every thread has enough to do."""
        threads = max(1, self.threads)
        while left and len(going) < AHEAD * threads:
            size = ceil(TASK / self.each) if self.each else FIRST
            size = min(size, ceil(len(left) / threads))
            here = [left.popleft() for _ in range(size)]
            going[self.client.submit(_made, shared, here, program(), pure=False)] = here

    def _back(self, going: dict[Future, list[Array]]) -> list[Future]:
        """Those that are done, after a second at the latest. RunError where none will be."""
        from concurrent.futures import CancelledError

        from distributed import wait

        alone = None
        while True:
            try:
                with self.client.as_current():
                    return list(wait(list(going), LOOK, "FIRST_COMPLETED").done)
            except TimeoutError:
                alone = None if self.threads else alone or monotonic()
            except CancelledError:
                raise self._lost() from None
            if alone is None:
                return []
            if monotonic() - alone > ALONE:
                raise RunError(f"no worker is left at {self.address}, for {ALONE:.0f} s now; "
                               "with --out the same command goes on once there are workers")

    def _result(self, future: Future) -> Made:
        from concurrent.futures import CancelledError

        from distributed import KilledWorker

        try:
            made: Made = future.result()
        except KilledWorker as why:
            raise RunError(f"several workers at {self.address} ended one after the other on the "
                           f"same runs: {why}. Has each enough memory?") from None
        except CancelledError:
            raise self._lost() from None
        return made

    def _lost(self) -> RunError:
        return RunError(f"the scheduler at {self.address} is gone; with --out the same command "
                        "goes on once it is back")

    def _see_workers(self) -> None:
        try:
            self.client.wait_for_workers(1, timeout=ANSWERS_WITHIN)
        except TimeoutError:
            raise RunError(f"the scheduler at {self.address} has no workers: start one where "
                           f"simfan is installed, with `dask worker {self.address}`") from None

    def _compare(self) -> None:
        """Refuse another program at the scheduler or a worker."""
        told: dict[str, dict[str, str] | BaseException] = {"the scheduler": self._on_scheduler()}
        told |= {f"a worker, {where},": there for where, there in self._on_workers().items()}
        for where, there in told.items():
            other = (f"{there}" if isinstance(there, BaseException)
                     else differences(program(), there))
            if other:
                raise RunError(f"{where} at {self.address} is not as this machine: {other}. "
                               f"{_SAME}")

    def _on_workers(self) -> dict[str, dict[str, str] | BaseException]:
        """Of those that answer soon: one that is busy, or just gone, must not hold up the others,
        and is asked again with each of its tasks."""
        from distributed import wait

        workers = self.client.scheduler_info(n_workers=-1)["workers"]
        asked = {where: self.client.submit(program, workers=[where], pure=False)
                 for where in workers}
        try:
            with self.client.as_current():
                wait(list(asked.values()), ANSWERS_WITHIN)
        except TimeoutError:
            self.client.cancel([future for future in asked.values() if not future.done()])
        return {where: future.exception() or future.result()
                for where, future in asked.items() if future.status in ("finished", "error")}

    def _on_scheduler(self) -> dict[str, str] | Exception:
        try:
            return dict(self.client.run_on_scheduler(program))
        except Exception as why:
            return why


def _made(shared: Shared, points: list[Array], asking: dict[str, str]) -> Made:
    """On a worker: the runs, and how long they took [s]. RunError where the worker has another
    program than who asks."""
    other = differences(asking, program())
    if other:
        raise RunError(f"a worker at {platform.node()} has other versions: {other}. {_SAME}")
    return make(shared, points)


def _connected(address: str) -> Client:
    """Raises RunError where Dask is not installed, or no scheduler answers."""
    try:
        from distributed import Client
    except ImportError:
        raise RunError("runs on other machines need Dask, which is not installed: "
                       "pip install 'simfan[cluster]'") from None
    if not re.fullmatch(r"(tcp|tls)://.+:\d{1,5}", address):
        raise RunError(f"--scheduler {address}: not the address of a Dask scheduler, such as "
                       "tcp://192.0.2.7:8786; `dask scheduler` prints its own")
    kind = _asked(address)
    if kind != "Scheduler":
        raise RunError(f"at {address} there is a {kind} of Dask, not its scheduler: give the "
                       "address that `dask scheduler` printed")
    logging.getLogger("distributed.client").setLevel(logging.CRITICAL)
    with warnings.catch_warnings():  # of versions: they are compared, and refused, here
        warnings.simplefilter("ignore")
        return Client(address, timeout=ANSWERS_WITHIN, set_as_default=False)


def _asked(address: str) -> str:
    """What answers there, by its own word. RunError where nothing of Dask does."""
    try:
        return str(asyncio.run(_identity(address))["type"])
    except (OSError, TimeoutError):
        raise RunError(f"no Dask scheduler answers at {address} within {ANSWERS_WITHIN:.0f} s: is "
                       "it running there, and may this machine reach it? `dask scheduler` starts "
                       "one") from None
    except Exception as why:
        raise RunError(f"what answers at {address} is no Dask scheduler that is understood here "
                       f"({type(why).__name__}): is the port right, and has it the same version "
                       "of Dask?") from None


async def _identity(address: str) -> dict[str, Any]:
    from distributed.core import connect, send_recv

    async def ask() -> dict[str, Any]:
        comm = await connect(address, timeout=ANSWERS_WITHIN)
        try:
            found: dict[str, Any] = await send_recv(comm, op="identity", reply=True)
        finally:
            comm.abort()
        return found

    return await asyncio.wait_for(ask(), ANSWERS_WITHIN)
