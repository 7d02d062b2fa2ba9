"""Finished runs on disk as they come: one SQLite file, keyed by the point of the cube.

A campaign asks for the same points in the same order each time it is started, so one that was
stopped goes on by finding its finished runs here. What was put is on disk before `put` returns,
whole or not at all, whatever ends the program then.
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
PATIENCE = 0.5
"""Waits so long for another campaign to let go of the file [s]."""
_TABLES = """
create table if not exists about (key text primary key, value text not null);
create table if not exists run (point blob primary key, distances blob not null,
                                reached integer not null, why text);
create table if not exists noise (point blob primary key, moves real not null);
"""
_OTHER = "give another folder with --out"
_WHY = {
    "SQLITE_BUSY": "is in use by another search: wait until that one ends, or " + _OTHER,
    "SQLITE_NOTADB": "is no file of runs, or damaged: take it away, or " + _OTHER,
    "SQLITE_CORRUPT": "is damaged: take it away, or " + _OTHER,
    "SQLITE_FULL": "cannot be written, the disk is full: make room",
    "SQLITE_READONLY": "may not be written: change its permissions, or " + _OTHER,
    "SQLITE_CANTOPEN": "cannot be opened or made: " + _OTHER,
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """One run."""

    distances: Array
    """(m,)."""
    reached: bool = True
    """False where it began at the nearest value to its setpoint that the strategy holds."""
    why: str | None = None
    """Why it could not start, or stopped on its numbers; None for a complete run."""
    noise: float = 0.0
    """How far the transmitter's noise moves the true value where that, and not the loop, decided
    settling or overshoot [held unit, standard deviation]; such a change is judged without noise."""


class Store:
    """Runs by their points; without a folder in memory alone."""

    def __init__(self, folder: Path | None, about: dict[str, str]) -> None:
        """Raises RunError for a folder or file that cannot be written, that another campaign
        writes, that is damaged, or that holds runs of something else."""
        self.known: dict[bytes, Outcome] = {}
        self._file = None if folder is None else folder / NAME
        self._base = None if folder is None else self._opened(folder, about)
        self.found = len(self.known)
        """Runs that were in the folder already."""

    def __len__(self) -> int:
        return len(self.known)

    def get(self, point: Array) -> Outcome | None:
        """The run at a point, if it was made."""
        return self.known.get(point.tobytes())

    def put(self, found: Iterable[tuple[Array, Outcome]]) -> None:
        """Keep runs that are not kept yet. RunError where they cannot be written; those put before
        stay."""
        fresh = {p.tobytes(): o for p, o in found}
        if self._base is not None and fresh:
            try:
                with self._base:
                    self._base.executemany("insert into run values (?, ?, ?, ?)", (
                        (point, o.distances.tobytes(), int(o.reached), o.why)
                        for point, o in fresh.items()))
                    self._base.executemany("insert into noise values (?, ?)", (
                        (point, o.noise) for point, o in fresh.items() if o.noise))
            except sqlite3.Error as why:
                raise RunError(f"{_said(self._file, why)}. The {len(self)} runs that were finished "
                               "before are kept there, and the same command goes on from them"
                               ) from None
        self.known.update(fresh)

    def close(self) -> None:
        """Let go of the file."""
        if self._base is not None:
            self._base.close()

    def _opened(self, folder: Path, about: dict[str, str]) -> sqlite3.Connection:
        base = None
        try:
            folder.mkdir(parents=True, exist_ok=True)
            base = sqlite3.connect(folder / NAME, timeout=PATIENCE)
            base.execute("pragma locking_mode = exclusive")
            base.executescript("begin exclusive;" + _TABLES + "commit;")
            self._compare(base, about)
            self._load(base)
            with base:  # tells at once where nothing can be written
                base.executemany("insert or replace into about values (?, ?)", about.items())
        except BaseException as why:
            if base is not None:
                base.close()
            if isinstance(why, OSError):
                raise RunError(f"{folder} cannot be used for the runs: {why.strerror}; {_OTHER}"
                               ) from None
            if isinstance(why, sqlite3.Error):
                raise RunError(_said(self._file, why)) from None
            raise
        return base

    def _compare(self, base: sqlite3.Connection, about: dict[str, str]) -> None:
        """Refuse runs of another scenario, strategy or version."""
        kept = dict(base.execute("select key, value from about"))
        other = [f"{key} {kept.get(key)} there, {value} here"
                 for key, value in about.items() if kept and kept.get(key) != value]
        if other:
            number = base.execute("select count(*) from run").fetchone()[0]
            runs = "1 run" if number == 1 else f"{number} runs"
            raise RunError(f"{self._file} holds {runs} of something else: "
                           f"{'; '.join(other)}. {_OTHER.capitalize()}, or take that file away")

    def _load(self, base: sqlite3.Connection) -> None:
        damage = base.execute("pragma quick_check(1)").fetchone()[0]
        rows = base.execute("select point, distances, reached, why from run").fetchall()
        sizes = {(len(point), len(distances)) for point, distances, *_ in rows}
        if damage != "ok" or len(sizes) > 1 or any(size % 8 for pair in sizes for size in pair):
            raise RunError(f"{self._file} {_WHY['SQLITE_CORRUPT']}")
        noise = dict(base.execute("select point, moves from noise"))
        self.known = {point: Outcome(np.frombuffer(distances), bool(reached), why,
                                     noise.get(point, 0.0))
                      for point, distances, reached, why in rows}


def content(text: str) -> str:
    """A short name of what defines the runs: the first 16 hexadecimal digits of the SHA-256."""
    return sha256(text.encode()).hexdigest()[:16]


def _said(file: Path | None, why: sqlite3.Error) -> str:
    """What is wrong with the file."""
    name = getattr(why, "sqlite_errorname", "")
    known = next((words for code, words in _WHY.items() if name.startswith(code)), None)
    return f"{file} {known or f'cannot be written or read: {why}'}"
