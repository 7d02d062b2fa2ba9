"""Docstrings as they are written: plain text, in which `|`, `*` and `_` are no markup."""

import re

from sphinx.application import Sphinx


def escaped(app: Sphinx, what: str, name: str, thing: object, options: object,
            lines: list[str]) -> None:
    """Escape what reStructuredText would read as markup; indented paragraphs become literal."""
    made: list[str] = []
    literal = False
    for line in lines:
        if line.strip():
            begins = not made or not made[-1].strip()
            literal = line.startswith("    ") and (literal or begins)
            if literal and begins:
                made += ["::", ""]
        made.append(line if literal else _escaped(line))
    lines[:] = made


def _escaped(line: str) -> str:
    """Outside of backticks."""
    parts = re.split(r"(`[^`]*`)", line)
    parts = [part if part.startswith("`") else re.sub(r"([*|\\]|(?<=\w)_(?!\w))", r"\\\1", part)
             for part in parts]
    return "".join(parts)


def setup(app: Sphinx) -> dict[str, bool]:
    app.connect("autodoc-process-docstring", escaped)
    return {"parallel_read_safe": True}
