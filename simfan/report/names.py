"""Names of strategies as names of files, names of signals in words."""

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


def signal_words(signal: str) -> str:
    """A trend's signal as people call it, such as "measured value" or "inlet vanes"."""
    return signal.removeprefix("element_position of ").replace("_", " ")
