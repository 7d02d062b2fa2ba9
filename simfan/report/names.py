"""Names of strategies as names of files."""

import re
from collections.abc import Sequence


def file_names(strategies: Sequence[str]) -> list[str]:
    """A name for each that every system takes; no two are alike."""
    found: list[str] = []
    for strategy in strategies:
        plain = re.sub(r"[^\w.-]+", "-", strategy).strip(".-") or "strategy"
        number = 1
        name = plain
        while name.casefold() in (other.casefold() for other in found):
            number += 1
            name = f"{plain}-{number}"
        found.append(name)
    return found
