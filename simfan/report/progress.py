"""How far a run is, on the last line of a terminal; nothing for work that is soon done."""

import time
from types import TracebackType
from typing import Self, TextIO

SHOWN_AFTER_S = 1.0
REDRAWN_AFTER_S = 0.1


class Progress:
    """Call it with (strategy, fraction done). Writes only to a terminal, only after a second."""

    def __init__(self, stream: TextIO, shown: bool = True) -> None:
        self._stream = stream
        self._shown = shown and stream.isatty()
        self._began = time.monotonic()
        self._drawn = 0.0
        self._width = 0

    def __call__(self, strategy: str, fraction: float) -> None:
        """Redraw the line, not too often."""
        now = time.monotonic()
        late = now - self._began >= SHOWN_AFTER_S
        if self._shown and late and now - self._drawn >= REDRAWN_AFTER_S:
            self._drawn = now
            self._draw(f"{strategy}: {100 * fraction:3.0f} %")

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
