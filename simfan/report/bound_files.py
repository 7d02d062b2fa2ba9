"""The folder of a bound report: report.html, report.pdf, result.json, and the sheets."""

from collections.abc import Sequence
from pathlib import Path

from simfan import handover
from simfan.bound import Bound
from simfan.report import bound_pdf, bound_web
from simfan.report.bound_blocks import Chapter
from simfan.report.bound_chapters import chapters
from simfan.report.files import as_json, unwritable, write_text
from simfan.units import System


def write(folder: Path, bound: Bound, system: System) -> list[Path]:
    """Write everything; the paths written. RunError names the first file that failed."""
    return write_parts(folder, bound, chapters(bound, system), system)


def write_parts(folder: Path, bound: Bound, parts: Sequence[Chapter], system: System
                ) -> list[Path]:
    """The same with these chapters, whose pictures are drawn once for screen and paper."""
    written: list[Path] = []
    try:
        written.append(write_text(folder / "result.json", as_json(bound)))
        if bound.sheets:
            written += handover.write(folder / handover.FOLDER, bound.sheets, bound.text,
                                      {r.name: r.history for r in bound.comparison.strategies
                                       if r.name in bound.names}, bound.sought)
        page = bound_web.page(bound, parts, system)
        written.append(write_text(folder / "report.html", page))
        content = bound_pdf.pdf(bound.title, bound.comparison.scenario, parts)
        (folder / "report.pdf").write_bytes(content)
        written.append(folder / "report.pdf")
    except OSError as why:
        raise unwritable(Path(why.filename) if why.filename else folder, why, written) from None
    return written
