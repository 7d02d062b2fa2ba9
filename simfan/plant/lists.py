"""Lists of numbers: several quantities in one unit, or plain numbers."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import isfinite
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from simfan import units
from simfan.errors import Problem, UnitError
from simfan.plant.numbers import (
    FROM_FILE,
    Limits,
    Mark,
    Quantity,
    as_float,
    is_number,
    mistake,
    refuse,
    told,
)

MOST_TOLD = 10
"""Bad items of one list told one by one."""


@dataclass(frozen=True)
class QuantityList(Mark):
    """Several quantities of one kind; in a file `{ unit = "m3/s", values = [0, 5, 10] }`."""

    item: Quantity

    @property
    def allowed(self) -> str:
        """What may stand here."""
        unit = units.preferred(self.item.kind)
        return f'{{ unit = "{unit}", values = [numbers] }}'

    def read(self, value: object, from_file: bool) -> tuple[float, ...]:
        """The SI values. Raises Mistakes that name every bad item."""
        if not from_file and isinstance(value, list | tuple):
            return self._items(value, units.Unit(1.0), "", ())
        if not isinstance(value, dict):
            raise mistake(told(value), self.allowed, "a list is given together with its unit")
        unit, values = self._parts(value)
        return self._items(values, unit, f" {value['unit']}", ("values",))

    def _parts(self, table: dict[str, object]) -> tuple[units.Unit, list[object]]:
        found = [Problem((key,), "an unknown key", "unit and values")
                 for key in table if key not in ("unit", "values")]
        found += [Problem((key,), "nothing", self.allowed, f"{key} is missing")
                  for key in ("unit", "values") if key not in table]
        unit, values = units.Unit(1.0), table.get("values", [])
        name = table.get("unit", "")
        kind = self.item.kind
        if "unit" in table and not isinstance(name, str):
            found.append(Problem(("unit",), told(name), f"one of {', '.join(units.KINDS[kind])}"))
        elif isinstance(name, str) and "unit" in table:
            try:
                unit = units.unit_of(name, kind)
            except UnitError as error:
                allowed = f"one of {', '.join(units.KINDS[kind])}"
                found.append(Problem(("unit",), error.got, allowed, error.hint))
        if not isinstance(values, list):
            found.append(Problem(("values",), told(values), "a list of numbers"))
        refuse(found)
        return unit, list(values) if isinstance(values, list) else []

    def _items(
        self, values: Iterable[object], unit: units.Unit, suffix: str, at: tuple[str, ...]
    ) -> tuple[float, ...]:
        """All values in SI; every bad one is named, up to ten."""
        found, good = [], []
        bounds = self.item.bounds
        allowed = "a number" + (f", {bounds}" if bounds else "")
        for place, value in enumerate(values):
            number = units.to_si(as_float(value), unit) if is_number(value) else float("nan")
            if not isfinite(number) or not self.item.limits.hold(number):
                got = told(value) + (suffix if is_number(value) else "")
                found.append(Problem((*at, place), got, allowed))
            good.append(number)
        refuse(found[:MOST_TOLD])
        return tuple(good)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(
            lambda value, info: self.read(value, info.context is FROM_FILE)
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        kind = self.item.kind
        return {
            "type": "object",
            "description": f"Several values of {kind} in one unit: {self.allowed}.",
            "properties": {
                "unit": {"type": "string", "examples": list(units.KINDS[kind])},
                "values": {"type": "array", "items": {"type": "number"}, "minItems": 1},
            },
            "required": ["unit", "values"],
            "additionalProperties": False,
        }


@dataclass(frozen=True)
class PlainList(Mark):
    """Several numbers without a unit; in a file `[0.5, 1, 2]`."""

    limits: Limits

    @property
    def allowed(self) -> str:
        """What may stand here."""
        bounds = self.limits.words(lambda x: f"{x:g}")
        return "a list of numbers" + (f", each {bounds}" if bounds else "")

    def read(self, value: object) -> tuple[float, ...]:
        """The numbers. Raises Mistakes that name every bad item."""
        if not isinstance(value, list | tuple):
            raise mistake(told(value), self.allowed, "such as [0.5, 1, 2]")
        good = [as_float(x) if is_number(x) else float("nan") for x in value]
        bad = [Problem((place,), told(value[place]), self.allowed)
               for place, x in enumerate(good) if not isfinite(x) or not self.limits.hold(x)]
        refuse(bad[:MOST_TOLD])
        return tuple(good)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        items = {"type": "number"} | self.limits.schema()
        return {"type": "array", "items": items, "minItems": 1}
