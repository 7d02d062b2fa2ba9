"""The folder of a comparison: result.json, summary.txt, and for each strategy its history and
picture (`<strategy>.npz`, `.csv`, `.svg`, `.png`)."""

import io
import json
from pathlib import Path

from simfan.compare import Comparison
from simfan.errors import RunError
from simfan.report import page, terminal
from simfan.report.names import file_names
from simfan.units import System

SUMMARY_WIDTH = 80


def prepare(folder: Path) -> None:
    """Make the folder and try it. RunError, in words, where nothing can be written there."""
    trial = folder / ".written-by-simfan"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        trial.touch()
        trial.unlink()
    except OSError as why:
        raise _unwritable(folder, why) from None


def write(folder: Path, comparison: Comparison, system: System) -> list[Path]:
    """Write everything; the paths written. RunError names the first file that failed."""
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        written.append(_text(folder / "result.json", as_json(comparison)))
        written.append(_text(folder / "summary.txt", summary(comparison, system)))
        names = file_names([r.name for r in comparison.strategies])
        for result, base in zip(comparison.strategies, names, strict=True):
            for ending, save in (("npz", result.history.save), ("csv", result.history.save_csv)):
                save(folder / f"{base}.{ending}")
                written.append(folder / f"{base}.{ending}")
        for drawing in page.drawings(comparison, system):
            written += drawing.save(folder)
    except OSError as why:
        raise _unwritable(Path(why.filename) if why.filename else folder, why, written) from None
    return written


def as_json(comparison: Comparison) -> str:
    """The result as text; refuses nan and infinity, which JSON has not."""
    return json.dumps(comparison.to_json(), indent=2, allow_nan=False, ensure_ascii=False) + "\n"


def summary(comparison: Comparison, system: System) -> str:
    """What the terminal shows, without colour, and every default."""
    paper = io.StringIO()
    page.print_on(terminal.console(paper, width=SUMMARY_WIDTH), comparison, system, page.IN_FULL)
    return "".join(line.rstrip() + "\n" for line in paper.getvalue().splitlines())


def _text(path: Path, words: str) -> Path:
    path.write_text(words, encoding="utf-8")
    return path


def _unwritable(place: Path, why: OSError, written: list[Path] | None = None) -> RunError:
    done = f" Written before that: {', '.join(p.name for p in written)}." if written else ""
    hint = "Choose another folder with --out, or make room."
    return RunError(f"{place} cannot be written: {why.strerror or why}.{done} {hint}")
