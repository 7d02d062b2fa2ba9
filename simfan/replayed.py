"""What came of sheets that were read back: cells that differ, and the runs made again."""

from dataclasses import dataclass
from typing import Any

from simfan import __version__
from simfan.history import History
from simfan.metrics import plain
from simfan.plant.case import Case
from simfan.sheets.changed import ChangedCell


@dataclass(frozen=True)
class Rerun:
    """One strategy, run again from the sheets."""

    strategy: str
    """Its name."""
    before: History
    """As it was run when the sheets were written."""
    after: History
    """As the sheets have it now."""
    expected: str
    """Fingerprint on record."""
    found: str
    """Fingerprint of `after`."""

    @property
    def identical(self) -> bool:
        """Whether the run came out bit for bit."""
        return self.expected == self.found


@dataclass(frozen=True)
class Replayed:
    """What came of the sheets."""

    title: str
    """The scenario's title."""
    case: Case
    """As the sheets have it now."""
    differences: tuple[ChangedCell, ...]
    """Every cell that is not what it was."""
    runs: tuple[Rerun, ...]
    version: str
    """Of simfan, when the sheets were written."""

    @property
    def proved(self) -> bool:
        """Whether no typed number was changed and every run came out bit for bit."""
        return (not any(d.typed for d in self.differences)
                and all(run.identical for run in self.runs))

    def to_json(self) -> dict[str, Any]:
        """ChangedCells and fingerprints."""
        return {"title": self.title, "proved": self.proved, "sheets_of_simfan": self.version,
                "simfan": __version__, "differences": [plain(d) for d in self.differences],
                "runs": [{"strategy": r.strategy, "identical": r.identical, "expected": r.expected,
                          "found": r.found} for r in self.runs]}
