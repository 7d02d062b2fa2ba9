"""How a number of a description is read, limited and described.

From Python a quantity is an SI float. From a file it is a text with its unit, and a bare number
is refused where a unit is needed; the reader says that it reads a file by passing `FROM_FILE` as
pydantic's validation context.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from math import isfinite
from typing import Any, get_args

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.fields import FieldInfo
from pydantic_core import CoreSchema, core_schema

from simfan import units
from simfan.errors import Mistakes, Problem, UnitError

FROM_FILE = {"read from": "a file"}
"""The validation context of a reader of files."""


def refuse(problems: Iterable[Problem]) -> None:
    """Raise all of the problems at once, if there are any."""
    found = list(problems)
    if found:
        raise Mistakes(found)


def mistake(got: str, allowed: str, hint: str = "") -> Mistakes:
    """One mistake, of the value itself."""
    return Mistakes([Problem((), got, allowed, hint)])


def is_number(value: object) -> bool:
    """Whether it is a number; a truth is none."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def told(value: object) -> str:
    """A value from a file as a person would call it, short enough for a message."""
    if isinstance(value, str):
        return units.quoted(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, int) and abs(value) > 10**15:
        return "a very large number"
    return str(value) if is_number(value) else units.quoted(str(value))


@dataclass(frozen=True)
class Limits:
    """Bounds of a number in SI; `above` and `below` are not themselves allowed."""

    least: float | None = None
    most: float | None = None
    above: float | None = None
    below: float | None = None

    def hold(self, value: float) -> bool:
        """Whether the value lies within."""
        return (
            (self.least is None or value >= self.least)
            and (self.most is None or value <= self.most)
            and (self.above is None or value > self.above)
            and (self.below is None or value < self.below)
        )

    def words(self, show: Callable[[float], str]) -> str:
        """Such as "above 0 s and at most 60 s"."""
        said = (("at least", self.least), ("above", self.above), ("at most", self.most),
                ("below", self.below))
        return " and ".join(f"{word} {show(x)}" for word, x in said if x is not None)

    def schema(self) -> dict[str, float]:
        """The same in the words of JSON Schema."""
        said = {"minimum": self.least, "maximum": self.most, "exclusiveMinimum": self.above,
                "exclusiveMaximum": self.below}
        return {word: x for word, x in said.items() if x is not None}


class Mark:
    """What a field holds, told to pydantic beside its type."""

    @property
    def allowed(self) -> str:
        """What may stand here."""
        raise NotImplementedError


@dataclass(frozen=True)
class Quantity(Mark):
    """A physical quantity of one kind of `units`."""

    kind: str
    limits: Limits = Limits()

    @property
    def allowed(self) -> str:
        """What may stand here, by its kind."""
        return units.allowed(self.kind)

    @property
    def bounds(self) -> str:
        """The limits in units people use."""
        return self.limits.words(lambda x: units.show(x, self.kind, digits=6))

    def read(self, value: object, from_file: bool) -> float:
        """The SI value. Raises Mistakes."""
        if isinstance(value, str):
            try:
                return self.check(units.parse(value, self.kind), told(value))
            except UnitError as error:
                raise mistake(error.got, self.allowed, error.hint) from None
        if not is_number(value):
            raise mistake(told(value), self.allowed)
        if from_file:
            unit = units.preferred(self.kind)
            hint = f'write the unit, in quotes: "{told(value)} {unit}", if {unit} is meant'
            raise mistake(f"{told(value)} without a unit", self.allowed, hint)
        return self.check(as_float(value), told(value))

    def check(self, value: float, got: str) -> float:
        """The value, if it is finite and within the limits. Raises Mistakes."""
        if not isfinite(value) or not self.limits.hold(value):
            raise mistake(got, self.bounds or self.allowed)
        return value

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(
            lambda value, info: self.read(value, info.context is FROM_FILE)
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        said = (self.allowed, self.bounds)
        return {
            "type": "string",
            "pattern": r"^\s*[+-]?(\d|\.\d)[0-9.eE+-]*\s*(1?/)?[A-Za-z°%]",
            "description": f"A quantity with its unit: {', '.join(filter(None, said))}.",
            "examples": [units.EXAMPLES[self.kind]],
        }


@dataclass(frozen=True)
class Plain(Mark):
    """A number without a unit."""

    limits: Limits = Limits()
    whole: bool = False

    @property
    def allowed(self) -> str:
        """What may stand here."""
        bounds = self.limits.words(lambda x: f"{x:g}")
        return ("a whole number" if self.whole else "a number") + (f", {bounds}" if bounds else "")

    def read(self, value: object) -> float:
        """The number. Raises Mistakes."""
        if not is_number(value):
            hint = "without quotes and without a unit" if isinstance(value, str) else ""
            raise mistake(told(value), self.allowed, hint)
        number = as_float(value)
        if not isfinite(number) or not self.limits.hold(number):
            raise mistake(told(value), self.allowed)
        if self.whole and not isinstance(value, int):
            raise mistake(told(value), self.allowed)
        return int(number) if self.whole else number

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": "integer" if self.whole else "number"} | self.limits.schema()


def mark_of(field: FieldInfo) -> Mark | None:
    """What kind of number a field holds, if it holds one; `| None` is seen through."""
    marks = list(field.metadata)
    for part in get_args(field.annotation):
        marks += getattr(part, "__metadata__", ())
    return next((mark for mark in marks if isinstance(mark, Mark)), None)


def as_float(value: Any) -> float:
    """float(value), infinite where a whole number is too large for one."""
    try:
        return float(value)
    except OverflowError:
        return float("inf")
