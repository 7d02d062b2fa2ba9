"""How the pictures are drawn: colours, lines, type, and the words on an axis.

Colours are those of Okabe and Ito (Color Universal Design, 2008), which stay apart for
colour-blind readers; every pair that meets in one picture also differs in its line, so that a
grey print can be read.
"""

import re
from typing import Any

from simfan import units

BLACK = "#000000"
ORANGE = "#E69F00"
SKY = "#56B4E9"
GREEN = "#009E73"
BLUE = "#0072B2"
VERMILION = "#D55E00"
PURPLE = "#CC79A7"
GREY = "#7F7F7F"

STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "axes.labelsize": 7.5,
    "axes.titlesize": 8.5,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#DDDDDD",
    "grid.linewidth": 0.5,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "legend.frameon": False,
    "legend.fontsize": 7,
    "legend.handlelength": 2.6,
    "lines.linewidth": 1.1,
    "svg.hashsalt": "simfan",
    "svg.fonttype": "path",
}

ELEMENT_LINES = ((BLUE, "-"), (ORANGE, "-."), (GREEN, (0, (5, 1, 1, 1, 1, 1))), (PURPLE, ":"))

_TYPESET = {
    "Δp_d": r"Δp$_\mathrm{d}$",
    "Q_stall": r"Q$_\mathrm{stall}$",
    "T/T_r": r"T/T$_\mathrm{r}$",
    "P_el": r"P$_\mathrm{el}$",
}


def typeset_symbol(plain: str) -> str:
    """A symbol with its index set low."""
    return _TYPESET.get(plain, plain)


def typeset(words: str) -> str:
    """Units in words as they stand in print: "m3/s" → "m³/s"."""
    return re.sub(r"\b(m|ft|in)([23])\b", lambda m: m[1] + "²³"[int(m[2]) - 2], words)


def literal(words: str) -> str:
    """Words of a scenario for a picture: a dollar begins no formula."""
    return words.replace("$", r"\$")


def axis(name: str, sign: str, unit: str) -> str:
    """Words for an axis: name, symbol, unit."""
    return f"{name} {sign} [{typeset(unit)}]"


def shown(values: Any, kind: str, system: units.System) -> Any:
    """SI values in the unit that people of this system prefer, element by element."""
    return units.convert(values, kind, units.preferred(kind, system))
