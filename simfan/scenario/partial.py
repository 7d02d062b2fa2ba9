"""The sections of a faulty file that are sound, so that what lies between them is checked too.

pydantic checks what spans sections only when each is valid; a person wants all mistakes at once.
"""

from typing import Any, TypeVar

from pydantic import ValidationError

from simfan.errors import PathPart, Problem
from simfan.plant.agreement import Parts, disagreements
from simfan.plant.air import Air
from simfan.plant.control import Control
from simfan.plant.days import Days
from simfan.plant.drive import Motor
from simfan.plant.ductwork import Ductwork, Process
from simfan.plant.events import Event
from simfan.plant.fan import Fan
from simfan.plant.quantities import FROM_FILE, Description
from simfan.plant.run import Run
from simfan.plant.strategy import Strategy
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
    return [problem for problem in disagreements(parts) if problem.path not in faulty]


def _sound(kind: type[D], table: object) -> D | None:
    try:
        return kind.model_validate(table, context=FROM_FILE)
    except ValidationError:
        return None
