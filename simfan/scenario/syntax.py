"""Plain words for a text that is not TOML."""

import re

from simfan.errors import Problem

_WHERE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")

_RULES = (
    ("Cannot overwrite a value", "a key that was given before", "each key once"),
    ("Duplicate inline table key", "a key that was given before", "each key once"),
    ("Cannot declare", "a section that was opened before",
     "each [section] once; [[timeline]] with two brackets as often as needed"),
    ("Cannot mutate immutable", "a key added to a table that was closed before",
     "all keys of an inline table between its { and }"),
    ("Expected '=' after a key", "a key without `=`",
     "key = value, the key of plain letters, digits, - and _"),
    ("Invalid statement", "a line that is no key and no section", "key = value, or [section]"),
    ("Invalid initial character for a key", "a name that cannot be a key",
     "letters, digits, - and _, or the name in quotes"),
    ("Expected newline or end of document", "something after the value",
     "one key = value on a line"),
    ("Invalid value", "something that is no value",
     'a number, a text in quotes, a list [ ], a table { }, true or false'),
    ("Unclosed array", "a list that is not closed", "[ values, with commas between ]"),
    ("Unclosed inline table", "a table that is not closed",
     "{ key = value, with commas between }, all on one line"),
    ("Unterminated string", "a text that is not closed", "a text in quotes, all on one line"),
    ("Exceeds the limit", "a number of thousands of digits", "a number of a few digits"),
    ("Illegal character '\\n'", "a text that is not closed", "a text in quotes, all on one line"),
    ("Illegal character", "a character that may not stand here", "a text in quotes, on one line"),
    ("Unescaped '\\'", "a lone \\ in a text in double quotes",
     "\\\\ for one backslash, or the text in single quotes"),
    ("Expected ']'", "a section name that is not closed", "[section]"),
    ('Expected "]]"', "a section name that is not closed", "[[section]]"),
    ("Expected ']]'", "a section name that is not closed", "[[section]]"),
)

_BARE_QUANTITY = re.compile(
    r"=\s*([+-]?[0-9][0-9.eE]*\s*(?:[A-Za-z%°µ][A-Za-z0-9%°²³/.· ]*?))\s*(?:[,}#]|$)"
)


def syntax_problem(message: str, text: str) -> Problem:
    """tomllib's message in words that name the rule, with the line."""
    lines = text.splitlines() or [""]
    where = _WHERE.search(message)
    line = None if where is None else int(where[1]) if where[1] else len(lines)
    shown = lines[min(line, len(lines)) - 1] if line else ""
    bare = _BARE_QUANTITY.search(shown)
    hint = f'a quantity stands in quotes: "{bare[1]}"' if bare and len(bare[1]) < 40 else ""
    for start, got, allowed in _RULES:
        if message.startswith(start):
            return Problem((), got, allowed, hint, line=line)
    return Problem((), _WHERE.sub("", message)[:80], "a TOML text", hint, line=line)
