"""Finished runs on disk as they come: one SQLite file, keyed by the point of the cube.

A campaign asks for the same points in the same order each time it is started, so one that was
stopped goes on by finding its finished runs here.
"""

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import numpy as np

from simfan.errors import RunError
from simfan.stress_answer import Array

NAME = "runs.sqlite"
_TABLES = """
create table if not exists about (key text primary key, value text not null);
create table if not exists run (point blob primary key, distances blob not null,
                                reached integer not null, why text);
"""


@dataclass(frozen=True)
class Outcome:
    """One run."""

    distances: Array
    """(m,)."""
    reached: bool = True
    """False where it began at the nearest value to its setpoint that the strategy holds."""
    why: str | None = None
    """Why it could not start, or stopped on its numbers; None for a complete run."""


class Store:
    """Runs by their points; without a folder in memory alone."""

    def __init__(self, folder: Path | None, about: dict[str, str]) -> None:
        """Raises RunError for a folder that cannot be written, or with runs of something else."""
        self.known: dict[bytes, Outcome] = {}
        self._file = None if folder is None else folder / NAME
        self._base = None
        if folder is not None and self._file is not None:
            try:
                folder.mkdir(parents=True, exist_ok=True)
                self._base = sqlite3.connect(self._file)
                self._base.executescript(_TABLES)
                self._compare(about)
                self._load()
            except (OSError, sqlite3.Error) as why:
                raise RunError(f"{self._file} cannot be used for the runs of this search: {why}; "
                               "give another folder") from None

    def __len__(self) -> int:
        return len(self.known)

    def get(self, point: Array) -> Outcome | None:
        """The run at a point, if it was made."""
        return self.known.get(point.tobytes())

    def put(self, found: Iterable[tuple[Array, Outcome]]) -> None:
        """Keep runs. RunError where they cannot be written, with what was written before."""
        rows = [(p.tobytes(), o.distances.tobytes(), int(o.reached), o.why, o) for p, o in found]
        self.known.update((row[0], row[4]) for row in rows)
        if self._base is None or not rows:
            return
        try:
            with self._base:
                self._base.executemany("insert or replace into run values (?, ?, ?, ?)",
                                       [row[:4] for row in rows])
        except sqlite3.Error as why:
            raise RunError(f"{self._file} cannot be written: {why}; the runs finished before are "
                           "kept there, and the same command goes on from them") from None

    def close(self) -> None:
        """Let go of the file."""
        if self._base is not None:
            self._base.close()

    def _compare(self, about: dict[str, str]) -> None:
        """Refuse runs of another scenario, strategy or version."""
        assert self._base is not None
        kept = dict(self._base.execute("select key, value from about"))
        if not kept:
            with self._base:
                self._base.executemany("insert into about values (?, ?)", about.items())
        for key, value in about.items() if kept else ():
            if kept.get(key) != value:
                raise RunError(f"{self._file} holds runs of another {key}, {kept.get(key)}; this "
                               f"one is {value}. Give another folder, or take that file away")

    def _load(self) -> None:
        assert self._base is not None
        for point, distances, reached, why in self._base.execute("select * from run"):
            self.known[point] = Outcome(np.frombuffer(distances), bool(reached), why)


def content(text: str) -> str:
    """A short name of what defines the runs: the first 16 hexadecimal digits of the SHA-256."""
    return sha256(text.encode()).hexdigest()[:16]
