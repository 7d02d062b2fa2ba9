"""The sections of a faulty file that are sound, so that what lies between them is checked too.

pydantic checks what spans sections only when each is valid; a person wants all mistakes at once.
"""

from collections.abc import Iterator
from typing import Any, TypeVar

from pydantic import ValidationError

from simfan.errors import PathPart, Problem
from simfan.plant.agreement import Parts, disagreements
from simfan.plant.air import Air
from simfan.plant.case import Case
from simfan.plant.control import Control
from simfan.plant.days import Days
from simfan.plant.drive import Motor
from simfan.plant.ductwork import Ductwork, Process
from simfan.plant.events import Event
from simfan.plant.fan import Fan
from simfan.plant.quantities import FROM_FILE, Description
from simfan.plant.run import Run
from simfan.plant.strategy import Strategy
from simfan.plant.stress import Moves, Vary
from simfan.plant.varied import moves_amiss, vary_amiss
from simfan.plant.year import Year

D = TypeVar("D", bound=Description)


def further_problems(tables: dict[str, Any], faulty: set[tuple[PathPart, ...]]) -> list[Problem]:
    """What the sound sections disagree about, save what stands on a path known to be faulty."""
    strategies, timeline = tables.get("strategies"), tables.get("timeline")
    strategies = strategies if isinstance(strategies, dict) else {}
    timeline = timeline if isinstance(timeline, list) else []
    events = {i: e for i, v in enumerate(timeline) if (e := _sound(Event, v))}
    parts = Parts(
        fan=_sound(Fan, tables.get("fan")),
        motor=_sound(Motor, tables.get("motor")),
        ductwork=_sound(Ductwork, tables.get("ductwork")),
        process=_sound(Process, tables.get("process")),
        control=_sound(Control, tables.get("control")),
        run=_sound(Run, tables.get("run")),
        air=_sound(Air, tables.get("air", {})),
        days=_sound(Days, tables.get("days", {})),
        year=_sound(Year, tables.get("year")),
        strategies={k: s for k, v in strategies.items() if (s := _sound(Strategy, v))},
        timeline=events,
        whole_timeline=len(events) == len(timeline),
        names=tuple(strategies) or None,
    )
    found = [*disagreements(parts), *_search_amiss(tables, parts)]
    return [problem for problem in found if problem.path not in faulty]


def _search_amiss(tables: dict[str, Any], parts: Parts) -> Iterator[Problem]:
    """What of the search can be told from the sections that it names, where those are sound."""
    asked = tables.get("stress")
    if not isinstance(asked, dict) or not parts.control:
        return
    case, moves = _standing(tables, parts), _sound(Moves, asked.get("moves"))
    spreads = asked.get("vary")
    for place, table in enumerate(spreads if isinstance(spreads, list) else ()):
        vary = _sound(Vary, table)
        if vary and _reaches_sound(vary.of, case):
            yield from vary_amiss(case, vary, place, moves)
    if moves and parts.run:
        yield from moves_amiss(case, moves)


def _standing(tables: dict[str, Any], parts: Parts) -> Case:
    """A case of the sound sections alone; of a strategy that is not sound the name."""
    motor, fan, named = parts.motor, parts.fan, tables.get("strategies")
    strategies: dict[str, Any] = {name: {} for name in named} if isinstance(named, dict) else {}
    if motor and fan:
        strategies |= {name: s.as_shares(motor, fan.rated.speed)
                       for name, s in parts.strategies.items()}
    timeline = tuple(parts.timeline.values()) if parts.whole_timeline else None
    sections: dict[str, Any] = {
        "fan": fan, "motor": motor, "ductwork": parts.ductwork, "process": parts.process,
        "control": parts.control, "run": parts.run, "air": parts.air,
        "strategies": strategies, "timeline": timeline}
    return Case.model_construct(**{k: v for k, v in sections.items() if v is not None})


def _reaches_sound(path: str, case: Case) -> bool:
    """Whether a path leads into something that is sound, or nowhere at all."""
    section, _, rest = path.replace("#", ".").partition(".")
    if section != "strategies":
        return section in case.model_fields_set or section not in Case.model_fields
    return not any(rest == name or rest.startswith(f"{name}.")
                   for name, strategy in case.strategies.items() if not strategy)


def _sound(kind: type[D], table: object) -> D | None:
    try:
        return kind.model_validate(table, context=FROM_FILE)
    except ValidationError:
        return None
