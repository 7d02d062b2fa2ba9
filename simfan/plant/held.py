"""What a loop holds: a volume flow, a mass flow or a pressure, as the loop's own section says.

The number remembers what kind of quantity it was written as, so that a setpoint of the wrong kind
is found when the sections are held against one another.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from simfan import units
from simfan.errors import Mistakes, PathPart, Problem, UnitError
from simfan.plant.lists import QuantityList
from simfan.plant.numbers import FROM_FILE, Limits, Mark, Quantity, as_float, is_number, mistake
from simfan.plant.numbers import told as _told

FLOW_LIMITS = Limits(least=0.0, most=1e5)
HELD: Mapping[str, Limits] = {
    "volume flow": FLOW_LIMITS,
    "mass flow": FLOW_LIMITS,
    "pressure": Limits(least=-1e5, most=1e5),
}
"""Kinds of quantity that a loop may hold, with their limits in SI."""


STANDSTILL = "standstill"
"""A run may start so, in place of a held value."""


class Held(float):
    """An SI number that remembers its kind; None for a bare number from Python."""

    kind: str | None

    def __new__(cls, value: float, kind: str | None = None) -> "Held":
        made = super().__new__(cls, value)
        made.kind = kind
        return made

    def __reduce__(self) -> tuple[type["Held"], tuple[float, str | None]]:
        return Held, (float(self), self.kind)


def kind_of(value: float) -> str | None:
    """What a held number was written as; None where that is not known."""
    return getattr(value, "kind", None)


def kind_amiss(
    path: tuple[PathPart, ...], value: float, kind: str, why: str
) -> Iterator[Problem]:
    """A problem where the number was written as another kind than the one held."""
    given = kind_of(value)
    if given and given != kind:
        yield Problem(path, f"{units.show(value, given)}, a {given}",
                      f'a {kind} such as "{units.EXAMPLES[kind]}"', f"because of {why}")


def kind_of_text(text: str, kinds: Iterable[str]) -> str | None:
    """The first of the kinds that knows the unit of this text."""
    for kind in kinds:
        try:
            units.parse(text, kind)
        except UnitError:
            continue
        return kind
    return None


@dataclass(frozen=True)
class HeldQuantity(Mark):
    """A quantity that a loop may hold."""

    @property
    def allowed(self) -> str:
        """What may stand here."""
        *first, last = (f'a {kind} such as "{units.EXAMPLES[kind]}"' for kind in HELD)
        return f"{', '.join(first)} or {last}"

    def read(self, value: object, from_file: bool) -> float:
        """The SI value, with its kind where a unit tells it. Raises Mistakes."""
        if isinstance(value, Held):
            return value
        if isinstance(value, str):
            return self._text(value)
        if not is_number(value):
            raise mistake(_told(value), self.allowed)
        if from_file:
            raise mistake(f"{_told(value)} without a unit", self.allowed,
                          "write the unit, in quotes")
        wide = Quantity("pressure", Limits(least=-1e5, most=1e5))
        return Held(wide.check(as_float(value), _told(value)))

    def _text(self, value: str) -> float:
        kind = kind_of_text(value, HELD)
        try:
            if kind is None:
                units.parse(value, next(iter(HELD)))
        except UnitError as error:
            hint = error.hint.split(", not of ")[0]
            raise mistake(error.got, self.allowed, hint) from None
        assert kind is not None
        return Held(Quantity(kind, HELD[kind]).read(value, True), kind)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(
            lambda value, info: self.read(value, info.context is FROM_FILE)
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        made = Quantity("pressure").__get_pydantic_json_schema__(schema, handler)
        return made | {"description": f"A quantity with its unit: {self.allowed}.",
                       "examples": [units.EXAMPLES[kind] for kind in HELD]}


@dataclass(frozen=True)
class StartQuantity(HeldQuantity):
    """Where a run starts: settled at a held quantity, or at standstill."""

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return f'{super().allowed}, or "{STANDSTILL}"'

    def read(self, value: object, from_file: bool) -> Any:
        """The SI value with its kind, or the word. Raises Mistakes."""
        return value if value == STANDSTILL else super().read(value, from_file)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        made = super().__get_pydantic_json_schema__(schema, handler)
        return made | {"pattern": f"{made['pattern']}|^{STANDSTILL}$"}


@dataclass(frozen=True)
class HeldList(Mark):
    """Several held quantities of one kind; in a file `{ unit = "kPa", values = [1, 2] }`."""

    @property
    def allowed(self) -> str:
        """What may stand here."""
        names = " or ".join(f'"{units.preferred(kind)}"' for kind in HELD)
        return f"{{ unit = {names}, values = [numbers] }}"

    def read(self, value: object, from_file: bool) -> tuple[float, ...]:
        """The SI values, each with its kind. Raises Mistakes that name every bad item."""
        if not from_file and isinstance(value, list | tuple):
            return tuple(HeldQuantity().read(item, False) for item in value)
        kind = self._kind(value)
        try:
            read = QuantityList(Quantity(kind, HELD[kind])).read(value, from_file)
        except Mistakes as error:
            raise Mistakes([self._said(problem) for problem in error.problems]) from None
        return tuple(Held(item, kind) for item in read)

    def _kind(self, value: object) -> str:
        """By the unit; volume flow where the unit is missing or unknown."""
        name = value.get("unit") if isinstance(value, dict) else None
        known = kind_of_text(f"1 {name}", HELD) if isinstance(name, str) else None
        return known or "volume flow"

    def _said(self, problem: Problem) -> Problem:
        if problem.path in ((), ("unit",)):
            hint = problem.hint.split(", not of ")[0]
            return Problem(problem.path, problem.got, self.allowed, hint)
        return problem

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(
            lambda value, info: self.read(value, info.context is FROM_FILE)
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        made = QuantityList(Quantity("volume flow")).__get_pydantic_json_schema__(schema, handler)
        made["description"] = f"Several values in one unit: {self.allowed}."
        names = [name for kind in HELD for name in units.KINDS[kind]]
        made["properties"]["unit"]["examples"] = names
        return made


@dataclass(frozen=True)
class SpanOf(HeldQuantity):
    """A held quantity, counted from zero, or a table with `low` and `high`.

    The field's type names the table's description first.
    """

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return f"{super().allowed}, from zero, or a table {{ low = …, high = … }}"

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        table = next(part for part in get_args(source) if is_description(part))

        def read(value: object, inner: Any, info: Any) -> object:
            if value is None and info.context is not FROM_FILE:
                return None
            if isinstance(value, dict | table):
                return inner(value)
            return self.read(value, info.context is FROM_FILE)

        return core_schema.with_info_wrap_validator_function(read, handler.generate_schema(table))

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"anyOf": [handler(schema), super().__get_pydantic_json_schema__(schema, handler)]}


def is_description(part: object) -> bool:
    """Whether this type is a table of a file."""
    return isinstance(part, type) and issubclass(part, BaseModel)
