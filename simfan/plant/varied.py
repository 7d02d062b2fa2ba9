"""A number of a scenario by its path, and what a search through varied runs may do to it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from difflib import get_close_matches
from math import inf
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from simfan.errors import Mistakes, PathPart, Problem
from simfan.plant.events import Event
from simfan.plant.held import STANDSTILL, HeldList, HeldQuantity, kind_of
from simfan.plant.numbers import Mark, Plain, Quantity, mark_of
from simfan.plant.quantities import PlainList, QuantityList
from simfan.plant.run import off_scan, seconds
from simfan.plant.setpoints import setpoints_amiss
from simfan.plant.stress import Bare, Moves, Stress, Vary
from simfan.units import quoted, show

if TYPE_CHECKING:
    from simfan.plant.case import Case

Keys = tuple[PathPart, ...]
CUT = 3.0
"""Deviations to either side of the mean at which a normal distribution is cut off."""
SECTIONS = ("air", "fan", "motor", "ductwork", "process", "control", "strategies", "timeline",
            "run")
"""What may be varied; limits, prices and the search itself may not."""
FIXED = {("control", "scan"), ("run", "duration"), ("run", "step"), ("run", "record")}
"""How a run is counted: the same for all."""
NOT_A_FACTOR = "temperature"
"""Kind whose percentages mean nothing."""


@dataclass(frozen=True)
class Varied:
    """One number that varies. SI."""

    name: str
    """Its path as it is written."""
    keys: Keys
    """From the top of the scenario."""
    form: str
    """One of "uniform", "normal", "triangular", "log", "choice"."""
    numbers: tuple[float, ...]
    """Of the distribution."""
    kind: str | None
    """Kind of unit; None for a plain number."""
    base: float | None
    """The scenario's own; 1 for a list, which is scaled."""
    scaled: bool = False
    """Whether it is a factor on a list."""
    whole: bool = False
    """Whether it is a whole number."""
    place: int = 0
    """Of its entry in `stress.vary`."""

    @property
    def ends(self) -> tuple[float, float]:
        """Lowest and highest value."""
        if self.form == "normal":
            mean, deviation = self.numbers
            return mean - CUT * deviation, mean + CUT * deviation
        return min(self.numbers), max(self.numbers)


def varied(case: Case, vary: Vary, place: int = 0) -> Varied:
    """The number that is meant, its distribution read. Raises Mistakes."""
    keys, field, value = found(case, vary.of)
    mark = mark_of(field)
    if value == STANDSTILL:
        raise _no_number(vary.of, "standstill")
    if isinstance(mark, QuantityList | HeldList | PlainList):
        return replace(_scaled(vary, keys, value), place=place)
    if not isinstance(mark, Quantity | HeldQuantity | Plain) or isinstance(value, BaseModel):
        raise _no_number(vary.of, "no number")
    kind = _kind(mark, case, value)
    form, numbers = _numbers(vary, mark, kind, value)
    made = Varied(vary.of, keys, form, numbers, kind, None if value is None else float(value),
                  whole=isinstance(mark, Plain) and mark.whole, place=place)
    for end in made.ends if form == "normal" else ():
        _checked(mark, end, vary.form, kind)
    if made.whole and form != "choice":
        raise Mistakes([Problem((vary.form,), "a spread of whole numbers", "choice",
                                "such as choice = [4, 6]")])
    return made


def found(case: Case, path: str) -> tuple[Keys, FieldInfo, Any]:
    """(keys, field, value) of what stands at a path. Raises Mistakes of the key `of`."""
    here: Any = case
    field: FieldInfo | None = None
    keys: list[PathPart] = []
    rest = path
    while rest:
        names = _names(here)
        name = next((n for n in sorted(names, key=len, reverse=True)
                     if rest == n or rest.startswith((f"{n}.", f"{n}#"))), None)
        if name is None:
            raise _unknown(path, rest, names)
        field = type(here).model_fields[name] if isinstance(here, BaseModel) else field
        here = here[name] if isinstance(here, dict) else getattr(here, name)
        keys.append(name)
        rest = rest[len(name):]
        if rest.startswith("#"):
            here, rest = _item(path, here, rest, keys)
        rest = rest.removeprefix(".")
    if field is None or not keys or keys[0] not in SECTIONS or tuple(keys[:2]) in FIXED or (
            keys[0] == "timeline" and keys[-1] == "at"):
        raise _no_number(path, "nothing that may vary")
    return tuple(keys), field, here


def _names(here: Any) -> list[str]:
    if isinstance(here, BaseModel):
        return list(type(here).model_fields)
    return list(here) if isinstance(here, dict) else []


def _item(path: str, here: Any, rest: str, keys: list[PathPart]) -> tuple[Any, str]:
    """The item of a list that "#2" means, and what follows it."""
    number, dot, after = rest[1:].partition(".")
    count = len(here) if isinstance(here, tuple) else 0
    if not number.isdigit() or not 1 <= int(number) <= count:
        raise Mistakes([Problem(("of",), quoted(path), f"one of {count}, counted from 1",
                                f"there is no {'.'.join(map(str, keys))}#{number}")])
    keys.append(int(number) - 1)
    return here[int(number) - 1], dot + after


def _unknown(path: str, rest: str, names: list[str]) -> Mistakes:
    word = rest.split(".")[0].split("#")[0]
    near = get_close_matches(word, names, n=1, cutoff=0.5)
    hint = f"did you mean {near[0]}?" if near else ""
    where = f"{quoted(path)}, where {quoted(word)} is not known"
    return Mistakes([Problem(("of",), where, ", ".join(names) or "the end of the path", hint)])


def _no_number(path: str, what: str) -> Mistakes:
    return Mistakes([Problem(("of",), f"{quoted(path)}, {what}", "a number of the scenario: of "
                             f"{', '.join(SECTIONS[:-1])}, run.starts_at or run.seed",
                             "times at which events begin and a run is counted stay as they are")])


def _kind(mark: Mark, case: Case, value: Any) -> str | None:
    if isinstance(mark, Plain):
        return None
    if isinstance(mark, Quantity):
        return mark.kind
    return kind_of(value) or case.control.held_kind


def _numbers(vary: Vary, mark: Mark, kind: str | None, value: Any
             ) -> tuple[str, tuple[float, ...]]:
    """The form, and its numbers in SI."""
    if vary.plus_minus is not None:
        base, share = _base(vary, kind, value), vary.plus_minus
        ends = sorted((base * (1.0 - share), base * (1.0 + share)))
        for end in ends:
            _checked(mark, end, "plus_minus", kind)
        return "uniform", tuple(ends)
    read = tuple(_read(mark, text, vary.form, place, kind)
                 for place, text in enumerate(vary.written))
    _in_order(vary.form, read, vary.written)
    return vary.form, read


def _base(vary: Vary, kind: str | None, value: Any) -> float:
    if value is None:
        raise Mistakes([Problem(("plus_minus",), f"no value at {vary.of}",
                                "a value to spread about", "give it one, or use uniform")])
    if kind == NOT_A_FACTOR or float(value) == 0.0:
        raise Mistakes([Problem(("plus_minus",), f"percent of {_shown(float(value), kind)}",
                                "uniform, between two ends")])
    return float(value)


def _read(mark: Mark, text: str | float, form: str, place: int, kind: str | None) -> float:
    """One number of the distribution; the deviation of a normal one has the unit of its mean."""
    if form == "normal" and place == 1:
        mark = Quantity("temperature difference" if kind == NOT_A_FACTOR else kind) \
            if kind else Plain()
    try:
        if isinstance(mark, Plain):
            return float(mark.read(int(text) if isinstance(text, Bare) and text == int(text)
                                   and mark.whole else _bare(text)))
        assert isinstance(mark, Quantity | HeldQuantity)
        return float(mark.read(_bare(text), isinstance(text, str | Bare)))
    except Mistakes as error:
        raise Mistakes([Problem((form, place), p.got, p.allowed, p.hint)
                        for p in error.problems]) from None


def _bare(text: str | float) -> str | float:
    return float(text) if isinstance(text, Bare) else text


def _checked(mark: Mark, value: float, form: str, kind: str | None) -> None:
    """Whether an end of the distribution is allowed where the number stands."""
    try:
        if isinstance(mark, Quantity | HeldQuantity | Plain):
            mark.read(value) if isinstance(mark, Plain) else mark.read(value, False)
    except Mistakes as error:
        (problem,) = error.problems
        raise Mistakes([Problem((form,), f"an end at {_shown(value, kind)}", problem.allowed)]
                       ) from None


def _in_order(form: str, numbers: tuple[float, ...], written: tuple[str | float, ...]) -> None:
    words = " and ".join(str(w) for w in written)
    if form in ("uniform", "log") and not numbers[0] < numbers[1]:
        raise Mistakes([Problem((form,), words, "two ends, the lower first")])
    if form == "log" and not numbers[0] > 0.0:
        raise Mistakes([Problem((form,), words, "two ends above zero")])
    if form == "normal" and not 0.0 < numbers[1] < inf:
        raise Mistakes([Problem((form, 1), str(written[1]), "a standard deviation above zero")])
    if form == "triangular" and not (numbers[0] <= numbers[1] <= numbers[2]
                                     and numbers[0] < numbers[2]):
        raise Mistakes([Problem((form,), words, "lowest, likeliest, highest, in this order")])


def _scaled(vary: Vary, keys: Keys, value: Any) -> Varied:
    if vary.plus_minus is None or value is None:
        raise Mistakes([Problem((vary.form,), f"{vary.form} of a list", "plus_minus",
                                "a list is scaled as a whole")])
    share = vary.plus_minus
    return Varied(vary.of, keys, "uniform", (1.0 - share, 1.0 + share), None, 1.0, scaled=True)


def _shown(value: float, kind: str | None) -> str:
    return show(value, kind, digits=4) if kind else f"{value:g}"


def stress_amiss(case: Case, stress: Stress | None) -> Iterator[Problem]:
    """What is wrong with the spreads and the moves of a search; paths from the top of the file."""
    if stress is None:
        return
    for place, vary in enumerate(stress.vary):
        yield from vary_amiss(case, vary, place, stress.moves)
    if stress.moves:
        yield from moves_amiss(case, stress.moves)


def vary_amiss(case: Case, vary: Vary, place: int, moves: Moves | None) -> Iterator[Problem]:
    """What is wrong with one spread."""
    try:
        made = varied(case, vary, place)
    except Mistakes as error:
        for p in error.problems:
            yield Problem(("stress", "vary", place, *p.path), p.got, p.allowed, p.hint)
        return
    if moves and _moved(case, made.keys):
        yield Problem(("stress", "vary", place, "of"), f'"{vary.of}" beside moves',
                      "one of the two", "moves set where the run starts and its setpoints")


def moves_amiss(case: Case, moves: Moves) -> Iterator[Problem]:
    """What is wrong with the moves."""
    for p in _moves_amiss(case, moves):
        yield Problem(("stress", "moves", *p.path), p.got, p.allowed, p.hint)


def _moved(case: Case, keys: Keys) -> bool:
    """Whether moves take the place of this number."""
    if keys[0] == "timeline" and isinstance(keys[1], int):
        return case.timeline[keys[1]].changes == "setpoint"
    return keys in (("run", "starts_at"), ("run", "setpoint"))


def _moves_amiss(case: Case, moves: Moves) -> Iterator[Problem]:
    for place in (0, 1):
        run = case.run.model_copy(update={"starts_at": moves.start[place], "setpoint": None})
        event = Event.model_construct(at=0.0, setpoint=moves.end[place])
        for p in setpoints_amiss(case.control, run, {0: event}):
            yield Problem(("from" if p.path[0] == "run" else "to", place), p.got, p.allowed, p.hint)
    yield from off_scan(("at",), moves.at, case.control.scan)
    last = case.run.duration - moves.at
    if last <= 0.0:
        yield Problem(("at",), seconds(moves.at),
                      f"a time before the end of the run, {seconds(case.run.duration)}")
    elif moves.over[1] > last:
        yield Problem(("over", 1), seconds(moves.over[1]),
                      f"an end within the run: at most {seconds(last)}",
                      "a later run.duration, or a shorter move")
