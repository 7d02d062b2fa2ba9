"""Units by kind of quantity: the only place where a number is not SI."""

from simfan.units.reading import allowed, parse, quoted, to_si, unit_of
from simfan.units.showing import System, convert, preferred, show, significant
from simfan.units.table import EXAMPLES, KINDS, PREFERRED, Unit

__all__ = [
    "EXAMPLES",
    "KINDS",
    "PREFERRED",
    "System",
    "Unit",
    "allowed",
    "convert",
    "parse",
    "preferred",
    "quoted",
    "show",
    "significant",
    "to_si",
    "unit_of",
]
