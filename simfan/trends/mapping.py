"""Which column of a file is which signal, and what makes SI of its numbers."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from re import fullmatch

from pydantic import ValidationError

from simfan import units
from simfan.errors import Problem, RunError, ScenarioError, UnitError
from simfan.plant.case import Case
from simfan.plant.strategy import METHODS, Strategy
from simfan.plant.trend import BAD_WORDS, GOOD_WORDS, Columns, Recorded
from simfan.scenario import sentences
from simfan.trends.trend import of_element
from simfan.units.table import Unit

KINDS: Mapping[str, tuple[str, ...]] = {
    "setpoint": ("held",), "measured_value": ("held",), "true_value": ("held",),
    "controller_output": ("fraction",), "fan_flow": ("volume flow",),
    "fan_pressure": ("pressure",), "volume_pressure": ("pressure",),
    "shaft_power": ("power",), "electrical_power": ("power",), "motor_load": ("fraction",),
    "speed_ratio": ("fraction", "rotation speed", "frequency"),
    "outlet_damper": ("fraction",), "inlet_box_damper": ("fraction",),
    "inlet_vanes": ("fraction",), "speed": ("fraction", "rotation speed", "frequency"),
}
"""Key of `Columns` → kinds of quantity that it may be written in."""


@dataclass(frozen=True)
class Column:
    """One column of the file. SI = factor · number + offset."""

    key: str
    """As the scenario calls it."""
    signal: str
    """As the trend calls it."""
    text: str
    """As the scenario writes the column, unit and all."""
    name: str
    """Without the unit."""
    unit: str
    kind: str
    factor: float
    offset: float
    quality: str = ""
    """Column that tells whether a sample is good; "" for none."""


@dataclass(frozen=True)
class Reading:
    """All that reading a trend needs."""

    time: str
    """The column of time, as the scenario writes it."""
    time_name: str
    """Without its unit."""
    time_unit: float | None
    """Seconds in one of counted time; None for time stamps."""
    columns: tuple[Column, ...]
    row_quality: str = ""
    time_format: str | None = None
    zone: str | None = None
    longest_interval_s: float | None = None
    bad: frozenset[str] = field(default_factory=lambda: frozenset(BAD_WORDS))
    good: frozenset[str] = field(default_factory=lambda: frozenset(GOOD_WORDS))


def strategy_of(case: Case, asked: str | None) -> str:
    """The strategy that the plant ran. Raises RunError where it is not told, or unknown."""
    said = asked or (case.trend.strategy if case.trend else None)
    names = ", ".join(case.strategies)
    if said is None and len(case.strategies) == 1:
        return next(iter(case.strategies))
    if said is None:
        raise RunError("Which strategy did the plant run? Say it as --strategy NAME, or as "
                       f"trend.strategy in the scenario. It has: {names}.")
    if said not in case.strategies:
        near = get_close_matches(said, case.strategies, n=1, cutoff=0.4)
        hint = f"did you mean {near[0]}? " if near else ""
        raise RunError(f'There is no strategy {units.quoted(said)} in this scenario; {hint}'
                       f"It has: {names}.")
    return said


def reading_of(case: Case, strategy: str, said: Recorded | None = None) -> Reading:
    """How a trend of this strategy is read. Raises ScenarioError with all that is amiss."""
    recorded = said or case.trend or Recorded()
    given = recorded.columns.given()
    found = [*_time_amiss(given.get("time")), *_keys_amiss(given, case.strategies[strategy])]
    columns = []
    quality = recorded.quality.given()
    for key, text in given.items():
        if key != "time" and not any(p.path[-1:] == (key,) for p in found):
            try:
                columns.append(_column(key, text, case, quality.get(key, "")))
            except UnitError as error:
                found.append(Problem(("trend", "columns", key), error.got, error.allowed,
                                     error.hint))
    if found:
        raise ScenarioError(found)
    name, unit = parted(given["time"])
    return Reading(
        time=given["time"], time_name=name,
        time_unit=None if unit is None else units.unit_of(unit, "time").factor,
        columns=tuple(columns), row_quality=quality.get("time", ""),
        time_format=recorded.time_format, zone=recorded.zone,
        longest_interval_s=recorded.longest_interval,
        bad=frozenset(BAD_WORDS) | {word.strip().casefold() for word in recorded.bad},
        good=frozenset(GOOD_WORDS) | {word.strip().casefold() for word in recorded.good})


def with_words(recorded: Recorded | None, columns: Sequence[str], quality: Sequence[str],
               **others: str | None) -> Recorded:
    """The scenario's table with what the command line says, such as `setpoint=SP [m3/h]`.

    Raises RunError for words that are no such pair, or an unknown key; ScenarioError for a value
    that the scenario could not have.
    """
    told = (recorded or Recorded()).model_dump(exclude_unset=True)
    for name, texts in (("columns", columns), ("quality", quality)):
        told[name] = {**told.get(name, {}), **dict(_pair(text, name) for text in texts)}
    try:
        return Recorded.model_validate(told | {k: v for k, v in others.items() if v is not None})
    except ValidationError as error:
        found = sentences.problems(error)
        raise ScenarioError([replace(p, path=("trend", *p.path)) for p in found]) from None


def parted(text: str) -> tuple[str, str | None]:
    """Name and unit of a column written as `name [unit]`; None where there is no unit."""
    match = fullmatch(r"(.*?)\s*\[([^\[\]]*)\]\s*", text)
    return (match[1].strip(), match[2].strip()) if match else (text.strip(), None)


def _pair(text: str, what: str) -> tuple[str, str]:
    key, is_pair, value = text.partition("=")
    key = key.strip()
    option = "--column" if what == "columns" else "--quality"
    if not is_pair or not value.strip():
        raise RunError(f"{option}: got {units.quoted(text)}; allowed: a signal and its column, "
                       f'such as {option} "setpoint=SP [m3/h]"')
    if key not in Columns.model_fields:
        near = get_close_matches(key, Columns.model_fields, n=1, cutoff=0.5)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise RunError(f"{option}: got the signal {units.quoted(key)}; allowed: "
                       f"{', '.join(Columns.model_fields)}{hint}")
    return key, value.strip()


def _time_amiss(text: str | None) -> Iterator[Problem]:
    path = ("trend", "columns", "time")
    if text is None:
        yield Problem(path, "nothing", 'the heading of the column of time, such as "Time" for time '
                      'stamps or "Time [s]" for counted time',
                      'without a scenario\'s [trend]: --column "time=Time"')
        return
    unit = parted(text)[1]
    if unit is not None:
        try:
            units.unit_of(unit, "time")
        except UnitError as error:
            yield Problem(path, error.got, ", ".join(units.KINDS["time"]), error.hint)


def _keys_amiss(given: Mapping[str, str], strategy: Strategy) -> Iterator[Problem]:
    """Positions of elements that the strategy does not have; nothing to judge."""
    for key in METHODS:
        if key in given and getattr(strategy, key) is None:
            have = [name for name in METHODS if getattr(strategy, name) is not None]
            yield Problem(("trend", "columns", key), f"a column for {key}",
                          f"elements of the strategy: {', '.join(have)}",
                          "say which strategy the plant ran: trend.strategy or --strategy")
    if not set(given) - {"time"}:
        yield Problem(("trend", "columns"), "no column of a signal",
                      f"one at least of {', '.join(KINDS)}",
                      'such as setpoint = "SP [m3/h]", or --column "setpoint=SP [m3/h]"')


def _column(key: str, text: str, case: Case, quality: str) -> Column:
    """Raises UnitError where the unit is missing or of another kind."""
    kinds = tuple(case.control.held_kind if kind == "held" else kind for kind in KINDS[key])
    name, unit = parted(text)
    if unit is None:
        raise UnitError(f"{units.quoted(text)} without a unit",
                        f'the heading with its unit behind it, such as "{name} '
                        f'[{units.preferred(kinds[0])}]"')
    kind = _kind_of(unit, kinds)
    found = units.unit_of(unit, kind)
    scale = share_of(kind, case) if len(kinds) > 1 else 1.0
    signal = of_element(key.replace("_", " ")) if key in METHODS else key
    return Column(key, signal, text, name, unit, kind, found.factor * scale, found.offset, quality)


def _kind_of(unit: str, kinds: tuple[str, ...]) -> str:
    """The first kind that knows the unit. Raises the UnitError of the first."""
    for kind in kinds:
        try:
            units.unit_of(unit, kind)
            return kind
        except UnitError:
            continue
    known: dict[str, Unit] = {}
    for kind in kinds:
        known |= units.KINDS[kind]
    try:
        units.unit_of(unit, kinds[0])
    except UnitError as error:
        raise UnitError(error.got, f"one of {', '.join(known)}", error.hint) from None
    raise AssertionError(unit)


def share_of(kind: str, case: Case) -> float:
    """What makes a share of the fan's rated speed of it: at f Hz the fan turns at the motor's rated
    speed times f over the nameplate's frequency, an assumption as in `SpeedDrive`."""
    if kind == "fraction":
        return 1.0
    per_unit = case.motor.rated_speed / case.motor.frequency if kind == "frequency" else 1.0
    return per_unit / case.fan.rated.speed
