"""A process of this machine that makes runs: it is asked on its standard input and answers on its
standard output, both pickles. It ends when its input does, so it never outlives who started it.
"""

import os
import pickle
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from time import perf_counter

from simfan.stress import chunk
from simfan.stress.chunk import Shared
from simfan.stress.store import Outcome
from simfan.stress_answer import Array

Made = tuple[list[Outcome], float]
"""Runs, and how long they took [s]."""


def make(shared: Shared, points: list[Array]) -> Made:
    """In this process."""
    began = perf_counter()
    return chunk.outcomes(shared, points), perf_counter() - began


class Worker:
    """Another process, as who asks sees it."""

    def __init__(self) -> None:
        paths = os.pathsep.join(str(Path(p).resolve()) for p in sys.path)
        self._process = subprocess.Popen(
            [sys.executable, "-m", "simfan.stress.worker"], stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, env=os.environ | {"PYTHONPATH": paths})
        self._shared: Shared | None = None

    def make(self, shared: Shared, points: list[Array]) -> Made:
        """Over there; here where the process has ended, so that no run is lost."""
        assert self._process.stdin and self._process.stdout
        try:
            pickle.dump((None if shared is self._shared else shared, points), self._process.stdin)
            self._process.stdin.flush()
            self._shared = shared
            made: Made | BaseException = pickle.load(self._process.stdout)
        except (OSError, EOFError, pickle.UnpicklingError):
            return make(shared, points)
        if isinstance(made, BaseException):
            raise made
        return made

    def close(self) -> None:
        """Let it end."""
        assert self._process.stdin and self._process.stdout
        for pipe in (self._process.stdin, self._process.stdout):
            with suppress(OSError):
                pipe.close()
        self._process.wait()


def serve() -> None:
    """Answer until nobody asks. Only who asks ends this: Ctrl-C reaches every process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    asked, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    shared: Shared | None = None
    while True:
        try:
            new, points = pickle.load(asked)
        except EOFError:
            os._exit(0)
        shared = new or shared
        assert shared
        made: Made | BaseException
        try:
            made = make(shared, points)
        except Exception as why:
            made = why
        try:
            pickle.dump(made, answers)
            answers.flush()
        except BrokenPipeError:
            os._exit(0)


if __name__ == "__main__":
    serve()
