"""How far a run is, on the last line of a terminal; nothing for work that is soon done."""

import os
import shutil
import time
from types import TracebackType
from typing import Self, TextIO

SHOWN_AFTER_S = 1.0
REDRAWN_AFTER_S = 0.1
LINE_EVERY_S = 30.0
"""Into a file."""


class Progress:
    """Call it with (strategy, fraction done). Writes only after a second, and only to a terminal;
    with `lines` into anything else too, a line every half a minute."""

    def __init__(self, stream: TextIO, shown: bool = True, lines: bool = False) -> None:
        self._stream = stream
        self._terminal = stream.isatty()
        self._shown = shown and (self._terminal or lines)
        self._drawn = time.monotonic()
        self._every = SHOWN_AFTER_S if self._terminal else LINE_EVERY_S
        self._width = 0

    def __call__(self, strategy: str, fraction: float) -> None:
        """Redraw the line, not too often."""
        now = time.monotonic()
        if not self._shown or now - self._drawn < self._every:
            return
        self._drawn = now
        if self._terminal:
            self._every = REDRAWN_AFTER_S
            self._draw(_fitting(strategy, f": {100 * fraction:3.0f} %", _columns(self._stream)))
        else:
            self._stream.write(f"{strategy}: {100 * fraction:.0f} %\n")
            self._stream.flush()

    def _draw(self, words: str) -> None:
        self._stream.write("\r" + words.ljust(self._width))
        self._stream.flush()
        self._width = len(words)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:  # fmt: skip
        if self._width:
            self._draw("")
            self._stream.write("\r")
            self._stream.flush()


def _fitting(words: str, end: str, columns: int) -> str:
    """Both, the words cut so that the line does not wrap."""
    room = columns - 1 - len(end)
    return (words if len(words) <= room else words[: room - 3] + "...") + end


def _columns(stream: TextIO) -> int:
    try:
        return os.get_terminal_size(stream.fileno()).columns
    except (OSError, AttributeError, ValueError):
        return shutil.get_terminal_size().columns
