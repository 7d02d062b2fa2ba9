"""Results that show themselves as a table, in a notebook and at a Python prompt.

A result does not know how it is drawn: that is made above it, in `simfan.report`. The front door,
which has both, says so with `shown_by`; before that a result shows itself in a line.
"""

from collections.abc import Callable
from typing import Any, Protocol


class Look(Protocol):
    """Draws results."""

    def drawn(self, result: Any) -> Any:
        """The result as rich prints it."""

    def words(self, result: Any) -> str:
        """The result as text that fits the terminal."""

    def html(self, result: Any) -> str:
        """The result as a piece of an HTML page, its words escaped."""


_look: Callable[[], Look] | None = None


def shown_by(look: Callable[[], Look]) -> None:
    """From here on results are drawn by what `look` gives; it is called at the first need."""
    global _look
    _look = look


class Shown:
    """A result that shows itself."""

    def __repr__(self) -> str:
        return _look().words(self) if _look else f"<{type(self).__name__}>"

    def __rich__(self) -> Any:
        return _look().drawn(self) if _look else repr(self)

    def _repr_html_(self) -> str | None:
        """For a notebook; None, and so the text, where nobody draws."""
        return _look().html(self) if _look else None
