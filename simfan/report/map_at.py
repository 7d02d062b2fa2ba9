"""Single questions to the plant at rest, answered in words: what gives this value?"""

from collections.abc import Iterable, Iterator

from rich.console import Group

from simfan.operating_map import OperatingPoint, Setting
from simfan.report.items import item
from simfan.units import System, show, significant


def answers(found: Iterable[tuple[str, OperatingPoint | Setting | str]], system: System) -> Group:
    """One item a strategy: where its elements stand and what that means, or why nothing does."""
    return Group(*(item(answer if isinstance(answer, str) and answer.startswith(name) else
                        f"{name}: {words(answer, system)}") for name, answer in found))


def words(found: OperatingPoint | Setting | str, system: System) -> str:
    """Such as "inlet vanes 34.2 %; 148 kW from the supply, motor load 48 %, stall margin 29 %"."""
    if isinstance(found, str):
        return found
    stand = ", ".join(f"{name} {percent(p)}" for name, p in found.positions.items())
    return f"{stand}; {', '.join(_numbers(found, system))}"


def _numbers(found: OperatingPoint | Setting, system: System) -> Iterator[str]:
    if isinstance(found, OperatingPoint):
        yield f"{show(found.flow, 'volume flow', system)} at the fan"
        yield f"{show(found.volume_pressure, 'pressure', system)} in the volume"
    yield f"{significant(1e-3 * found.electrical_power)} kW from the supply"
    yield f"motor load {percent(found.motor_load)}"
    margin = found.stall_margin
    yield "no stall line there" if margin is None else f"stall margin {percent(margin)}"
    if isinstance(found, OperatingPoint):
        yield found.stability
        yield from (limit for limit in found.missed if limit != found.stability)


def percent(share: float) -> str:
    """A share as words."""
    return f"{significant(100.0 * share)} %"
