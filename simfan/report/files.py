"""The folder of a comparison: result.json, summary.txt, report.html, and for each strategy its
history and picture (`<strategy>.npz`, `.csv`, `.svg`, `.png`)."""

import io
import json
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Protocol

from simfan.compare import Comparison
from simfan.errors import RunError
from simfan.report import page, terminal, web
from simfan.report.names import file_names
from simfan.report.sections import Section, drawn_once
from simfan.units import System

SUMMARY_WIDTH = 80


class HasJson(Protocol):
    """An answer that can be told as JSON."""

    def to_json(self) -> dict[str, Any]:
        """SI and kWh, every name with its unit."""


class Traced(page.Titled, Protocol):
    """An answer that knows the file it came from."""

    @property
    def file(self) -> str | None:
        """Its name."""

    @property
    def fingerprint(self) -> str | None:
        """Of its content."""


def prepare(folder: Path) -> list[Path]:
    """Make the folder and try it; the folders that were not there, the innermost first. RunError,
    in words, where nothing can be written there."""
    trial = folder / ".written-by-simfan"
    made = [one for one in (folder, *folder.parents) if not one.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        trial.touch()
        trial.unlink()
    except OSError as why:
        raise unwritable(folder, why) from None
    return made


def left(made: Iterable[Path]) -> None:
    """Take away what was made and is still empty."""
    for folder in made:
        with suppress(OSError):
            folder.rmdir()


def write(folder: Path, comparison: Comparison, system: System,
          more: Sequence[Section[Any]] = ()) -> list[Path]:
    """Write everything; the paths written. RunError names the first file that failed.

    `more` are further sections of the HTML page, before its last.
    """
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        written.append(write_text(folder / "result.json", as_json(comparison)))
        written.append(write_text(folder / "summary.txt", summary(comparison, system)))
        names = file_names([r.name for r in comparison.strategies])
        for result, base in zip(comparison.strategies, names, strict=True):
            for ending, save in (("npz", result.history.save), ("csv", result.history.save_csv)):
                save(folder / f"{base}.{ending}")
                written.append(folder / f"{base}.{ending}")
        with drawn_once():
            written.append(write_text(folder / "report.html", on_page(comparison, system, more)))
            for drawing in page.drawings(comparison, system):
                written += drawing.save(folder)
    except OSError as why:
        raise unwritable(Path(why.filename) if why.filename else folder, why, written) from None
    return written


def write_answer(folder: Path, stem: str, answer: Traced, told: HasJson,
                 sections: Sequence[Section[Any]], says: str, system: System) -> list[Path]:
    """Write `stem`.json, .txt, .html and the pictures; the paths written. What another command
    wrote in the same folder is left as it is. RunError names the first file that failed."""
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with drawn_once():
            for ending, words in (("json", as_json(told)),
                                  ("txt", on_paper(answer, system, sections)),
                                  ("html", answer_page(stem, answer, sections, says, system))):
                written.append(write_text(folder / f"{stem}.{ending}", words))
            for drawing in page.drawings(answer, system, sections):
                written += drawing.save(folder)
    except OSError as why:
        raise unwritable(Path(why.filename) if why.filename else folder, why, written) from None
    return written


def answer_page(stem: str, answer: Traced, sections: Sequence[Section[Any]], says: str,
                system: System) -> str:
    """The HTML page of an answer; `says` is a sentence on what it is."""
    traced = f" (content {answer.fingerprint})" if answer.fingerprint else ""
    notes = [f"From {answer.file or 'a scenario without a file'}{traced}. {says} Every number is "
             f"in {stem}.json beside this page, with more digits, in SI."]
    return web.page(answer, system, sections, notes)


def as_json(answer: HasJson) -> str:
    """The result as text; refuses nan and infinity, which JSON has not."""
    return json.dumps(answer.to_json(), indent=2, allow_nan=False, ensure_ascii=False) + "\n"


def summary(comparison: Comparison, system: System) -> str:
    """What the terminal shows, without colour, and every default."""
    return on_paper(comparison, system, page.IN_FULL)


def on_page(comparison: Comparison, system: System, more: Sequence[Section[Any]] = ()) -> str:
    """The HTML page of a comparison."""
    note = comparison.scenario
    traced = f" (content {note.fingerprint})" if note.fingerprint else ""
    count = len(comparison.strategies)
    which = "One strategy" if count == 1 else f"{count} strategies over the same plant and timeline"
    notes = [f"From {note.file or 'a scenario without a file'}{traced}. {which}. Every number in a "
             "table is in result.json beside this page (those at rest in map.json), with more "
             "digits, in SI and kWh."]
    *first, last = page.ON_PAGE
    return web.page(comparison, system, [*first, *more, last], notes)


def on_paper(answer: page.Titled, system: System, sections: Iterable[Section[Any]]) -> str:
    """The sections as the terminal shows them, without colour."""
    paper = io.StringIO()
    page.print_on(terminal.console(paper, width=SUMMARY_WIDTH), answer, system, sections)
    return "".join(line.rstrip() + "\n" for line in paper.getvalue().splitlines())


def write_text(path: Path, words: str) -> Path:
    """Write in UTF-8; the path."""
    path.write_text(words, encoding="utf-8")
    return path


def unwritable(place: Path, why: OSError, written: list[Path] | None = None) -> RunError:
    """What could not be written, why, and what was written before."""
    done = f" Written before that: {', '.join(p.name for p in written)}." if written else ""
    hint = "Choose another folder with --out, or make room."
    return RunError(f"{place} cannot be written: {why.strerror or why}.{done} {hint}")
