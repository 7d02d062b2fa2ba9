"""The line on which each key of a TOML text stands.

`tomllib` gives values without their places. This scan walks a text that tomllib has already
taken, so it need not check anything: it follows headers, dotted keys, inline tables and arrays,
steps over strings and comments, and notes the line of every key and of every item of a list.
"""

import re
import tomllib
from collections.abc import Iterator

Path = tuple[str | int, ...]
Span = tuple[int, int, int]

DEEPEST = 20
"""Keys within one another whose lines are kept; a scenario has six."""

_SPACE = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_BLANK = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}', re.S),
    re.compile(r"'''.*?'{3,5}", re.S),
    re.compile(r'"(?:[^"\\]|\\.)*"'),
    re.compile(r"'[^']*'"),
)
_SCALAR = re.compile(r"[^,\]}#\n]*")


def key_lines(text: str) -> dict[Path, int]:
    """Path → line, counted from 1. `text` must be valid TOML."""
    return _Scan(text).run()


def key_spans(text: str) -> dict[Path, Span]:
    """Path → where a pair stands: start of the key, start and end of the value."""
    scan = _Scan(text)
    scan.run()
    return scan.spans


def line_of(path: Path, lines: dict[Path, int]) -> int | None:
    """The line of the key, or of the nearest table above it that is written in the file."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


class _Scan:
    """A walk through the text; `at` is the next character."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.lines: dict[Path, int] = {}
        self.spans: dict[Path, Span] = {}
        self.counts: dict[Path, int] = {}
        self._seen, self._line = 0, 1

    def run(self) -> dict[Path, int]:
        """Statement after statement, to the end."""
        table: Path = ()
        self._skip(_SPACE)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(_SPACE)
        return self.lines

    def _header(self) -> Path:
        """[a.b] or [[a.b]]; a further [[a.b]] is the next item of the list."""
        many = self.text.startswith("[[", self.at)
        line = self._line_here()
        self.at += 2 if many else 1
        keys = list(self._keys())[:DEEPEST]
        self.at += 2 if many else 1
        path = self._into(keys[:-1] if many else keys)
        if many:
            listed = (*path, keys[-1])
            self.counts[listed] = self.counts.get(listed, 0) + 1
            path = (*listed, self.counts[listed] - 1)
        for length in range(1, len(path)):
            self._note(path[:length], line)
        self.lines[path] = line
        return path

    def _into(self, keys: list[str]) -> Path:
        """The path of these keys: a key of a list of tables means its latest item."""
        path: Path = ()
        for key in keys:
            path = (*path, key)
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        return path

    def _pair(self, table: Path) -> None:
        """key = value, inside `table`."""
        line, start = self._line_here(), self.at
        path = table
        for key in self._keys():
            path = (*path, key) if len(path) <= DEEPEST else path
            self._note(path, line)
        self.at += 1  # the equals sign
        self._skip(_BLANK)
        value = self.at
        self._value(path)
        self.spans[path] = (start, value, self.at)

    def _value(self, path: Path) -> None:
        first = self.text[self.at : self.at + 1]
        if first == "{":
            self._inline_table(path)
        elif first == "[":
            self._array(path)
        elif first in ('"', "'"):
            self._string()
        else:
            self._skip(_SCALAR)

    def _inline_table(self, path: Path) -> None:
        self.at += 1
        self._skip(_SPACE)
        while self.text[self.at] != "}":
            self._pair(path)
            self._comma()
        self.at += 1

    def _array(self, path: Path) -> None:
        self.at += 1
        self._skip(_SPACE)
        item = 0
        while self.text[self.at] != "]":
            self._note((*path, item), self._line_here())
            self._value((*path, item))
            self._comma()
            item += 1
        self.at += 1

    def _comma(self) -> None:
        self._skip(_SPACE)
        if self.text[self.at] == ",":
            self.at += 1
        self._skip(_SPACE)

    def _keys(self) -> Iterator[str]:
        """The parts of a dotted key, up to what follows it."""
        while True:
            self._skip(_BLANK)
            yield self._string() if self.text[self.at] in "\"'" else self._skip(_BARE)
            self._skip(_BLANK)
            if self.text[self.at] != ".":
                return
            self.at += 1

    def _string(self) -> str:
        """Step over a string; the result is its value."""
        for pattern in _STRINGS:
            if pattern.match(self.text, self.at):
                return str(tomllib.loads(f"key = {self._skip(pattern)}")["key"])
        raise ValueError("not a TOML text")

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise ValueError("not a TOML text")
        self.at = match.end()
        return match[0]

    def _line_here(self) -> int:
        self._line += self.text.count("\n", self._seen, self.at)
        self._seen = self.at
        return self._line

    def _note(self, path: Path, line: int) -> None:
        if len(path) <= DEEPEST:
            self.lines.setdefault(path, line)
