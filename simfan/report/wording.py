"""Sentences of the results in the reader's units; the results themselves speak SI."""

import re

from simfan.units import System, convert, preferred, significant, to_si, unit_of

KINDS = {"m3/s": "volume flow", "kg/s": "mass flow", "Pa": "pressure"}
"""SI units that stand in verdicts, findings and the log, and what they measure."""
_NUMBER = r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?"
_QUANTITY = re.compile(rf"({_NUMBER})(?:( → | to )({_NUMBER}))? ({'|'.join(KINDS)})(?![\w/])")
DIGITS = 4
"""Of a quantity in such a sentence."""


def reworded(sentence: str, system: System) -> str:
    """Such as "setpoint 36 → 27 m3/s" as "setpoint 76280 → 57210 cfm"."""
    if system == "si":
        return sentence
    return _QUANTITY.sub(lambda found: _quantity(found, system), sentence)


def _quantity(found: re.Match[str], system: System) -> str:
    first, between, second, unit = found.groups()
    kind = KINDS[unit]
    told = [_told(n, kind, preferred(kind, system)) for n in (first, second) if n]
    return f"{(between or '').join(told)} {preferred(kind, system)}"


def _told(number: str, kind: str, unit: str) -> str:
    """To four digits; of a number that was itself cut to as many, the shortest that it may stand
    for, so that 8500 cfm comes back from 4.012 m3/s."""
    value_si = float(number)
    exact = convert(value_si, kind, unit)
    cut = len(number.strip("-0.").replace(".", "")) >= DIGITS
    for digits in range(2 if cut else DIGITS, 8):
        short = float(f"{exact:.{digits}g}")
        if f"{to_si(short, unit_of(unit, kind)):.{DIGITS}g}" == f"{value_si:.{DIGITS}g}":
            return significant(short, digits)
    return significant(exact, DIGITS)
