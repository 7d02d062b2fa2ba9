"""What `simfan stress` varies from run to run: numbers of the scenario, and a setpoint move."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Self

from pydantic import ConfigDict, Field, GetCoreSchemaHandler, GetJsonSchemaHandler, model_validator
from pydantic_core import CoreSchema, core_schema

from simfan.errors import Mistakes, Problem
from simfan.plant.held import HeldQuantity, kind_of
from simfan.plant.numbers import FROM_FILE, Mark, is_number, mistake
from simfan.plant.quantities import (
    Description,
    Limits,
    Plain,
    Quantity,
    Time,
    refuse,
    told,
)

FORMS = {"uniform": 2, "normal": 2, "triangular": 3, "log": 2, "choice": 0, "plus_minus": 0}
"""Distribution → how many numbers it takes; 0 for any number of them, or none."""


class Bare(float):
    """A number that stands in a file without a unit."""


@dataclass(frozen=True)
class Unread(Mark):
    """A list of numbers or quantities, read once it is known what they are of."""

    least: int
    most: int

    @property
    def allowed(self) -> str:
        """What may stand here."""
        many = f"{self.least}" if self.least == self.most else f"{self.least} or more"
        return f'a list of {many}, such as ["3 kPa", "4 kPa"] or [0.5, 0.8]'

    def read(self, value: object, from_file: bool) -> tuple[str | float, ...]:
        """The texts and numbers as they are. Raises Mistakes."""
        if not isinstance(value, list | tuple):
            raise mistake(told(value), self.allowed)
        if not self.least <= len(value) <= self.most:
            raise mistake(told(value), self.allowed)
        refuse(Problem((i,), told(v), "a number, or a quantity with its unit in quotes")
               for i, v in enumerate(value) if not isinstance(v, str) and not is_number(v))
        return tuple(Bare(v) if from_file and not isinstance(v, str) else v for v in value)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(
            lambda value, info: self.read(value, info.context is FROM_FILE)
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": "array", "items": {"type": ["string", "number"]},
                "minItems": self.least, "maxItems": self.most}


@dataclass(frozen=True)
class Between(Mark):
    """Two quantities, the lower first; in a file `["18 m3/s", "45 m3/s"]`."""

    item: Quantity | HeldQuantity
    example: str

    @property
    def allowed(self) -> str:
        """What may stand here."""
        return f"two quantities, the lower first, such as {self.example}"

    def read(self, value: object, from_file: bool) -> tuple[float, float]:
        """Both in SI. Raises Mistakes."""
        if not isinstance(value, list | tuple) or len(value) != 2:
            raise mistake(told(value), self.allowed)
        found, low_high = [], []
        for place, text in enumerate(value):
            try:
                low_high.append(self.item.read(text, from_file))
            except Mistakes as error:
                found += [Problem((place, *p.path), p.got, p.allowed, p.hint)
                          for p in error.problems]
        refuse(found)
        low, high = low_high
        if kind_of(low) != kind_of(high) or low > high:
            raise mistake(f"{told(value[0])} and {told(value[1])}", self.allowed)
        return low, high

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.with_info_plain_validator_function(
            lambda value, info: self.read(value, info.context is FROM_FILE)
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        return {"type": "array", "items": {"type": "string"}, "minItems": 2, "maxItems": 2}


Numbers = tuple[str | float, ...]
Two = Annotated[Numbers, Unread(2, 2)]
Three = Annotated[Numbers, Unread(3, 3)]
Some = Annotated[Numbers, Unread(2, 1000)]
HeldRange = Annotated[tuple[float, float], Between(HeldQuantity(), '["18 m3/s", "45 m3/s"]')]
TimeRange = Annotated[tuple[float, float],
                      Between(Quantity("time", Limits(0.0, 1e6)), '["0 s", "60 s"]')]
Spread = Annotated[float, Quantity("fraction", Limits(above=0.0, below=1.0))]


class Vary(Description):
    """One number of the scenario and how it is spread, by one of the keys beside `of`."""

    of: str
    """Its path, such as "process.design.pressure" or "strategies.damper.controller.gain"; events
    of the timeline count from 1, as in "timeline#2.process_resistance"."""
    uniform: Two | None = None
    """Evenly between two ends."""
    normal: Two | None = None
    """Mean and standard deviation, cut off at three deviations to either side."""
    triangular: Three | None = None
    """Lowest, likeliest, highest."""
    log: Two | None = None
    """Evenly in the logarithm, between two ends above zero."""
    choice: Some | None = None
    """One of these, each as likely."""
    plus_minus: Spread | None = None
    """Evenly about the scenario's own value, to either side by this share of it. A list of
    quantities, such as a curve's pressures, is scaled as a whole."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        given = [name for name in FORMS if getattr(self, name) is not None]
        if len(given) != 1:
            refuse([Problem((given[1],) if given else (),
                            f"{' and '.join(given)} for one number" if given else
                            "no distribution", f"one of {', '.join(FORMS)}")])
        return self

    @property
    def form(self) -> str:
        """Which distribution, one of FORMS."""
        return next(name for name in FORMS if getattr(self, name) is not None)

    @property
    def written(self) -> Numbers:
        """The numbers of the distribution, as they are written."""
        found = getattr(self, self.form)
        return found if isinstance(found, tuple) else (found,)


class Moves(Description):
    """A setpoint move that is different in each run. It takes the place of every setpoint change of
    the timeline; other events stay."""

    model_config = ConfigDict(validate_by_name=True, validate_by_alias=True)

    start: HeldRange = Field(alias="from")
    """Where the run starts, settled."""
    end: HeldRange = Field(alias="to")
    """The new setpoint."""
    over: TimeRange = (0.0, 0.0)
    """Length of the ramp. Default: a step; an assumption."""
    at: Time
    """When it begins, on a scan of the controller."""


class Stress(Description):
    """What is varied in the search for the run that breaks a strategy."""

    vary: tuple[Vary, ...] = ()
    """Numbers of the scenario. Default: none; an assumption."""
    moves: Moves | None = None
    """A setpoint move. Default: the timeline as it stands; an assumption."""
    runs: Annotated[int, Plain(Limits(least=10, most=1_000_000), whole=True)] = 400
    """How many runs are laid out and searched, half of them each. Smallest changes, ramp limits and
    sensitivities come on top, at most three times as many. Default: an assumption."""
    sampling: Literal["random", "sobol", "grid"] = "random"
    """How the runs before the search are laid out: "random", the only one that allows a statement
    of confidence; "sobol", evenly (scrambled), whose share of failures is nearer to the space's but
    without a bound; "grid", every combination of values from end to end, which sees all corners and
    says nothing of shares. Default: random, for the statement."""
    seed: Annotated[int, Plain(Limits(least=0, most=1e9), whole=True)] = 0
    """Of the samples. Default: zero, any number is as good."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._amiss())
        return self

    def _amiss(self) -> Iterator[Problem]:
        if not self.vary and self.moves is None:
            yield Problem((), "nothing that varies", "vary, moves or both",
                          'such as vary = [{ of = "process.design.pressure", '
                          'plus_minus = "10 %" }]')
        seen: set[str] = set()
        for place, vary in enumerate(self.vary):
            if vary.of in seen:
                yield Problem(("vary", place, "of"), f'"{vary.of}" once more',
                              "each number once")
            seen.add(vary.of)
