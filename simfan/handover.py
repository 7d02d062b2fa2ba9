"""From a scenario to sheets, and back from the sheets to the runs.

    scenario ─► spans, sequences, gains ─► rounded to what is typed ─► case ─► runs, sheets
    sheets, as typed in ─► case ─► runs ─► the same bits, or what differs

What is run and judged is always the case built from the typed numbers, read from the text of the
file that is kept with them.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np
from pydantic import ValidationError

from simfan import __version__
from simfan.assemble.sequence import sequence
from simfan.assemble.transmitter import span
from simfan.errors import Problem, RunError, ScenarioError
from simfan.history import History
from simfan.history import load as load_history
from simfan.loops.equal import Equal, equal
from simfan.metrics import plain
from simfan.plant.case import Case
from simfan.replayed import Replayed, Rerun
from simfan.scenario import load, written
from simfan.sheets import csvfile
from simfan.sheets.bundle import as_typed, with_own_controllers, with_span, with_tables
from simfan.sheets.changed import Listed, Mark, Rows, differences
from simfan.sheets.sheet import Path as Place
from simfan.sheets.sheet import Sheet, Typed
from simfan.sheets.typed import has, with_typed
from simfan.units import System

FOLDER, SCENARIO, LIST = "sheets", "scenario.toml", "sheets.json"
HEAD = """The scenario with the numbers of the sheets beside it, as it was run; in SI.
Change the sheets, not this file: simfan replay tells what was changed."""


@dataclass(frozen=True)
class Prepared:
    """A case with the numbers that are typed in."""

    tuned: Equal
    text: str
    """Of the file from which the case is read."""
    sought: frozenset[str]
    """Strategies whose gains were sought."""


def prepared(case: Case, system: System, head: str = "") -> Prepared:
    """The case with gains, its spans and sequences written out, all of it rounded to what is typed
    in; Ms is that of the rounded numbers. Raises ScenarioError where that makes no valid case."""
    low, width = span(case)
    whole = with_span(case, (low, low + width), system)
    own = {name: _without_characteriser(s) for name, s in whole.strategies.items()}
    whole = with_tables(whole, {name: sequence(s) for name, s in own.items()})
    whole = as_typed(with_own_controllers(whole), system)
    sought = frozenset() if case.by_hand else frozenset(whole.untuned)
    found = equal(whole, list(whole.strategies))
    text = written.text(written.tables(as_typed(found.case, system)), head or HEAD)
    return Prepared(typed_equal(_read(text), sought, list(case.strategies)), text, sought)


def typed_equal(case: Case, sought: Iterable[str], names: list[str]) -> Equal:
    """Ms of the gains as they are typed; gains that were sought count as sought."""
    found = equal(case, names)
    return replace(found, robustness={name: replace(r, sought=name in set(sought))
                                      for name, r in found.robustness.items()})


def fingerprint(history: History) -> str:
    """A short name for the exact bits of a run: the first 16 hexadecimal digits of the SHA-256 of
    its times, its traces by name, and its log."""
    made = sha256(np.ascontiguousarray(history.time, "<f8").tobytes())
    for name in sorted(history.traces):
        made.update(name.encode() + np.ascontiguousarray(history.traces[name], "<f8").tobytes())
    made.update(json.dumps([plain(line) for line in history.log]).encode())
    return made.hexdigest()[:16]


def write(folder: Path, made: Sequence[Sheet], text: str, runs: Mapping[str, History],
          sought: Iterable[str]) -> list[Path]:
    """The folder of the sheets: one file for each, the scenario, the runs; the paths written.
    Raises OSError where it cannot be written."""
    folder.mkdir(parents=True, exist_ok=True)
    written_to = []
    for one in made:
        path = folder / f"{one.key}.csv"
        path.write_bytes(csvfile.text(one).encode("utf-8-sig"))
        written_to.append(path)
    (folder / SCENARIO).write_text(text, encoding="utf-8")
    for name, history in runs.items():
        history.save(folder / f"{name}.npz")
        written_to.append(folder / f"{name}.npz")
    listed = _listed(made, runs, sought).model_dump_json(indent=1)
    (folder / LIST).write_text(listed + "\n", encoding="utf-8")
    return [*written_to, folder / SCENARIO, folder / LIST]


def _listed(made: Sequence[Sheet], runs: Mapping[str, History], sought: Iterable[str]
            ) -> Listed:
    """What the sheets were when they were written."""
    return Listed(
        simfan=__version__, sought=sorted(sought),
        runs={name: fingerprint(history) for name, history in runs.items()},
        sheets={one.key: Rows(columns=one.columns, rows=one.text) for one in made},
        typed=[Mark(sheet=one.key, line=row.line, column=column, path=cell.path, unit=cell.unit)
               for one in made for row in one.rows for column, cell in row.typed.items()])


def replayed(folder: Path, run: Any) -> Replayed:
    """The sheets of a folder read back, the case built from them, every strategy run again.

    `run(tuned, name)` makes a history. Raises ScenarioError with every line that cannot be read,
    is missing or was not there, RunError where the folder holds no sheets.
    """
    listed = _list_of(folder)
    changed, found = differences(folder, listed)
    base = _base(folder / SCENARIO, [*(("strategies", name) for name in listed.runs), *found])
    case = _placed(base, found, folder)
    tuned = typed_equal(case, listed.sought, list(listed.runs))
    runs = []
    for name, expected in listed.runs.items():
        before, after = _before(folder / f"{name}.npz"), run(tuned, name)
        runs.append(Rerun(name, before, after, expected, fingerprint(after)))
    return Replayed(case.title, case, changed, tuple(runs), listed.simfan)


def _base(path: Path, places: Iterable[Place]) -> Case:
    """The case that is kept with the sheets; all that the sheets speak of must be in it."""
    case = load(path)
    for place in places:
        if not has(case, place):
            raise RunError(f"{path} has no {'.'.join(map(str, place))}, of which the sheets speak; "
                           "it must be as it was written: change the sheets, not this file")
    return case


def _before(path: Path) -> History:
    try:
        return load_history(path)
    except (OSError, ValueError, KeyError, BadZipFile) as why:
        raise RunError(f"{path} cannot be read: {why}; it must be as it was written") from None


def _placed(base: Case, found: Mapping[Any, tuple[Typed, str, int]], folder: Path) -> Case:
    """The case with the typed cells; a mistake is told by sheet and line."""
    try:
        return with_typed(base, {path: cell for path, (cell, _, _) in found.items()})
    except ScenarioError as error:
        raise ScenarioError([_at_its_line(p, found) for p in error.problems]) from None


def _at_its_line(problem: Problem, found: Mapping[Any, tuple[Typed, str, int]]) -> Problem:
    path = tuple(part for part in problem.path if part != "values")
    for length in range(len(path), 0, -1):
        for at, (_, file, place) in found.items():
            if at[:length] == path[:length] and length > 1:
                return replace(problem, file=file, line=place)
    return replace(problem, file=SCENARIO)


def _list_of(folder: Path) -> Listed:
    path = folder / LIST
    try:
        found = Listed.model_validate_json(path.read_bytes())
        if missing := [n for n in (SCENARIO, *(f"{r}.npz" for r in found.runs))
                       if not (folder / n).is_file()]:
            raise RunError(f"{folder} is not whole: {', '.join(missing)} is missing; the sheets, "
                           "the scenario and the runs are kept together")
        return found
    except ValidationError as why:
        first = why.errors()[0]
        at = ".".join(map(str, first["loc"])) or "the file"
        raise RunError(f"{path} cannot be read: {at}: {first['msg']}; it must be as it was "
                       "written") from None
    except FileNotFoundError:
        inner = folder / FOLDER
        hint = f"; did you mean {inner}?" if (inner / LIST).is_file() else (
            "; `simfan report FILE --out DIR` writes them into DIR/sheets")
        raise RunError(f"{folder} holds no sheets: {LIST} is not there{hint}") from None
    except OSError as why:
        raise RunError(f"{path} cannot be read: {why.strerror}") from None


def _without_characteriser(strategy: Any) -> Any:
    return strategy.model_copy(update={"characteriser": None})


def _read(text: str) -> Case:
    """The case of a text, as a file would give it."""
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as folder:
        path = Path(folder) / SCENARIO
        path.write_text(text, encoding="utf-8")
        return load(path)
