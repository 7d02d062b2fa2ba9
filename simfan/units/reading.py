"""From what a person writes to SI: "45 m³/s", "4 in. w.g.", "86 °F"."""

import re
import unicodedata
from difflib import get_close_matches
from math import isfinite

from simfan.errors import UnitError
from simfan.units.table import EXAMPLES, KINDS, Unit

_NOT_TAKEN = {
    "scfm": "scfm counts mass at a standard state: give the actual volume flow, in cfm",
    "Nm3/h": "Nm3/h counts mass at a normal state: give the actual volume flow, in m3/h",
    "Nm3/s": "Nm3/s counts mass at a normal state: give the actual volume flow, in m3/s",
    "gpm": "gallons are for liquids: give cfm or m3/s",
    "PS": "write kW: 1 metric horsepower is 0.7355 kW",
}

_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*")


def _fold(name: str) -> str:
    """A unit's name without what people write in different ways: m³ → m3, kg·m² → kgm2."""
    plain = unicodedata.normalize("NFKC", name).replace("°", "deg").replace("−", "-")
    return re.sub(r"[\s.·⋅*^_-]+", "", plain)


_SPELLINGS = {
    kind: {_fold(word): name for name, unit in units.items() for word in (name, *unit.also)}
    for kind, units in KINDS.items()
}


def _lookup(name: str, kind: str) -> str | None:
    """The unit's own name. Case is forgiven, save in a leading m or M (milli is not mega)."""
    word, spellings = _fold(name), _SPELLINGS[kind]
    if word in spellings:
        return spellings[word]
    for spelling, unit in spellings.items():
        same = spelling.casefold() == word.casefold()
        if same and (spelling[0] == word[0] or word[0] not in "mM"):
            return unit
    return None


def quoted(text: str, longest: int = 50) -> str:
    """The text in quotation marks, fit for one line of a message."""
    plain = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
    return f'"{plain}"' if len(plain) <= longest else f'"{plain[:longest]}…"'


def allowed(kind: str) -> str:
    """What a quantity of this kind looks like, with an example and the units known."""
    article = "an" if kind[0] in "aeiou" else "a"
    return f'{article} {kind} such as "{EXAMPLES[kind]}" (units: {", ".join(KINDS[kind])})'


def _unknown_unit(name: str, kind: str) -> str:
    """A hint for a unit that is not of this kind."""
    taken = {_fold(word): why for word, why in _NOT_TAKEN.items()}
    if _fold(name) in taken:
        return taken[_fold(name)]
    for other in KINDS:
        if other != kind and (unit := _lookup(name, other)):
            return f"{unit} is a unit of {other}, not of {kind}"
    for spelling, unit in _SPELLINGS[kind].items():
        if spelling.casefold() == _fold(name).casefold():
            return f"did you mean {unit}? (m is a thousandth, M a million)"
    near = get_close_matches(_fold(name), list(_SPELLINGS[kind]), n=1, cutoff=0.5)
    return f"did you mean {_SPELLINGS[kind][near[0]]}?" if near else ""


def _unit(name: str, kind: str, got: str) -> Unit:
    if not _fold(name):
        raise UnitError(got, allowed(kind), "the unit is missing")
    unit = _lookup(name, kind)
    if unit is None:
        raise UnitError(got, allowed(kind), _unknown_unit(name, kind))
    return KINDS[kind][unit]


def unit_of(name: str, kind: str) -> Unit:
    """The unit a person wrote by this name. Raises UnitError where `kind` has no such unit."""
    return _unit(name, kind, f"the unit {quoted(name)}")


def parse(text: str, kind: str) -> float:
    """The SI value of a text such as "45 m3/s". Raises UnitError."""
    got = quoted(text)
    number = _NUMBER.match(text)
    if number is None:
        raise UnitError(got, allowed(kind), "a quantity begins with its number")
    name = text[number.end():]
    if name[:1] == "," and name[1:2].isdigit():
        raise UnitError(got, allowed(kind), "decimals take a point, thousands take nothing: "
                        "a comma could mean either")
    value = to_si(float(number[1]), _unit(name, kind, got))
    if not isfinite(value):
        raise UnitError(got, allowed(kind), "the number is too large")
    return value


def to_si(value: float, unit: Unit) -> float:
    """factor · value + offset."""
    return unit.factor * value + unit.offset
