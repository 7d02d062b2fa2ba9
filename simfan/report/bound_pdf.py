"""A bound report as PDF: set by typst where the extra `pdf` is installed and can be loaded, else
drawn by matplotlib in plainer pages. Both say the same."""

from collections.abc import Sequence

from simfan.compare import ScenarioNote
from simfan.report import bound_plain, bound_typst
from simfan.report.bound_blocks import Chapter


def pdf(title: str, note: ScenarioNote, chapters: Sequence[Chapter]) -> bytes:
    """The document; the same answer gives the same bytes."""
    try:
        return bound_typst.pdf(title, origin(note), chapters)
    except ImportError:
        return bound_plain.pdf(title, origin(note), chapters)


def origin(note: ScenarioNote) -> str:
    """Where the report comes from, in a line."""
    traced = f", content {note.fingerprint}" if note.fingerprint else ""
    return f"From {note.file or 'a scenario without a file'}{traced}"
