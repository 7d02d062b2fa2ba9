"""A limit of a drive's speed, as its panel says it: a share, a speed of the fan, a frequency."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import GetJsonSchemaHandler
from pydantic_core import CoreSchema

from simfan.errors import Mistakes
from simfan.plant.held import Held, kind_of, kind_of_text
from simfan.plant.numbers import Limits, Quantity, mistake
from simfan.units import EXAMPLES, show

SPEEDS: Mapping[str, str] = {"fraction": "a share of the fan's rated speed",
                             "rotation speed": "a speed of the fan",
                             "frequency": "a frequency of the drive"}
"""Kinds in which such a limit may be written."""
BEYOND = {"rotation speed": Limits(least=0.0, most=1e4), "frequency": Limits(0.0, 1000.0)}
"""[rad/s], [Hz]; the limits of a share are the field's own, and hold for the others, too, once
motor and fan are known."""


@dataclass(frozen=True)
class SpeedLimit(Quantity):
    """A share of the fan's rated speed, or what becomes one once motor and fan are known."""

    kind: str = "fraction"

    @property
    def allowed(self) -> str:
        """What may stand here."""
        *first, last = (f'{words} such as "{EXAMPLES[kind]}"' for kind, words in SPEEDS.items())
        return f"{', '.join(first)} or {last}"

    def read(self, value: object, from_file: bool) -> float:
        """A share, or an SI number that remembers its kind. Raises Mistakes."""
        if isinstance(value, Held):
            return value
        kind = kind_of_text(value, BEYOND) if isinstance(value, str) else None
        if kind:
            return Held(Quantity(kind, BEYOND[kind]).read(value, from_file), kind)
        try:
            return super().read(value, from_file)
        except Mistakes as error:
            (problem,) = error.problems
            hint = problem.hint.split(", not of ")[0]
            raise mistake(problem.got, problem.allowed, hint) from None

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        made = super().__get_pydantic_json_schema__(schema, handler)
        return made | {"examples": [EXAMPLES[kind] for kind in SPEEDS]}


def is_share(value: float) -> bool:
    """Whether it was written as a share of the fan's rated speed."""
    return kind_of(value) is None


def as_share(value: float, rated_speed: float, per_hertz: float) -> float:
    """Its share of the fan's rated speed [rad/s], by the fan's speed at one hertz [rad/s]."""
    speed = {"rotation speed": 1.0, "frequency": per_hertz}
    return value if is_share(value) else value * speed[str(kind_of(value))] / rated_speed


def said(value: float, share: float) -> str:
    """As it was written, and what share that is: "25 Hz, 41.7 %"."""
    kind, percent = kind_of(value), show(share, "fraction", digits=4)
    return f"{show(value, kind, digits=4)}, {percent}" if kind else percent
