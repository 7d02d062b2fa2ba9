"""The terminal: a console whose lines fit, in signs that it can show."""

import sys
from typing import Any, TextIO

from rich.console import Console, ConsoleOptions, RenderResult
from rich.measure import Measurement
from rich.text import Text

_SPELT = str.maketrans({
    "→": "->", "≤": "<=", "≥": ">=", "±": "+-", "✗": "x", "·": ".", "²": "2", "³": "3",
    "…": "...", "–": "-", "—": "-", "−": "-", "°": "deg", "ρ": "rho", "Δ": "d", "₀": "0",
    "×": "x", "ζ": "zeta", "γ": "gamma", "ω": "omega", "τ": "tau", "θ": "theta",
    "½": "1/2", "“": '"', "”": '"', "’": "'",
})  # fmt: skip


class Words:
    """Text that is spelt in plain letters, before its lines are broken, where signs are lacking."""

    def __init__(self, words: str, style: str = "") -> None:
        self._words, self._style = words, style

    def _text(self, options: ConsoleOptions) -> Text:
        plain = self._words.translate(_SPELT) if options.ascii_only else self._words
        return Text(plain, style=self._style)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield self._text(options)

    def __rich_measure__(self, console: Console, options: ConsoleOptions) -> Measurement:
        return Measurement.get(console, options, self._text(options))


class _Writable:
    """A stream that never fails on a letter its encoding lacks, such as in a strategy's name."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self.encoding = getattr(stream, "encoding", None) or "utf-8"

    def write(self, text: str) -> int:
        """Write; a letter that the encoding lacks becomes "?"."""
        try:
            text.encode(self.encoding)
        except UnicodeEncodeError:
            text = text.translate(_SPELT).encode(self.encoding, "replace").decode(self.encoding)
        return self._stream.write(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def console(stream: TextIO | None = None, width: int | None = None) -> Console:
    """A console without markup or guessed colours; 80 columns where there is no terminal."""
    return Console(
        file=_Writable(stream or sys.stdout),  # type: ignore[arg-type]
        width=width, markup=False, highlight=False, emoji=False, soft_wrap=False,
    )  # fmt: skip
