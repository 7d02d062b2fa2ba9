"""Single questions to the plant at rest: what do these settings give, what gives this value?"""

from collections.abc import Mapping
from dataclasses import replace
from difflib import get_close_matches

import numpy as np

from simfan.errors import RunError
from simfan.operating_map import OperatingPoint
from simfan.plant.case import Case
from simfan.steady.balance import hold
from simfan.steady.path import Ground, ground
from simfan.steady.search import Standing
from simfan.units import show


def points_at(case: Case, name: str, positions: Mapping[str, float]) -> tuple[OperatingPoint, ...]:
    """Every steady solution with the elements at these positions (0 to 1; a drive: share of rated
    speed), by rising flow, each with its stability.

    `reached` marks the one at which a start comes to rest whose elements stand there already and
    whose flow rises from zero. Raises RunError for an element the strategy does not have.
    """
    here = ground(case, name)
    _, found = here.search.points_placed(np.array([_placed(here, positions)]))
    points = here.judged(found)
    below = sum(p.mass_flow < 0.0 for p in points)
    rest = min(below - below % 2, len(points) - 1)
    return tuple(replace(p, reached=k == rest) for k, p in enumerate(points))


def point_for(case: Case, name: str, held: float) -> OperatingPoint | str:
    """The operating point at which the strategy holds a value [m³/s, kg/s or Pa], stable or not; or
    the sentence why there is none. Of several outputs that would do, the highest."""
    here, kind = ground(case, name), case.control.held_kind
    rest = hold(here.assembled, held)
    if not rest.reached:
        output = f"{100.0 * float(rest.outputs[0]):.3g} % output"
        return (f"{name} does not give {show(held, kind, digits=4)}: the nearest is "
                f"{show(rest.held, kind, digits=4)}, at {output}")
    at = Standing(rest.outputs, here.search.placed(rest.outputs), rest.x[None])
    return here.judged(at)[0]


def _placed(here: Ground, positions: Mapping[str, float]) -> list[float]:
    """In the kernel's order."""
    names = here.assembled.items["element"]
    for given in positions:
        if given not in names:
            near = get_close_matches(given, names, n=1)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise RunError(f"{here.name} moves {' and '.join(names)}, not {given!r}{hint}")
    missing = [name for name in names if name not in positions]
    if missing:
        raise RunError(f"{here.name}: no position given for {' and '.join(missing)}")
    return [float(positions[name]) for name in names]
