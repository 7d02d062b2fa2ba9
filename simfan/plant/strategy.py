"""One way of regulating the fan."""

import re
from collections.abc import Iterable, Iterator
from typing import Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.control import Controller
from simfan.plant.damper import OutletDamper
from simfan.plant.drive import SpeedDrive
from simfan.plant.quantities import Description, refuse
from simfan.units import quoted

METHODS = ("outlet_damper", "speed")
"""Keys of what moves; a strategy has one of them."""

_FILE_NAME = re.compile(r"[A-Za-z0-9]([A-Za-z0-9 _.-]{0,58}[A-Za-z0-9_-])?")
_RESERVED = re.compile(r"(con|prn|aux|nul|(com|lpt)[0-9])(\..*)?", re.I)


class Strategy(Description):
    """One way of regulating the fan."""

    outlet_damper: OutletDamper | None = None
    speed: SpeedDrive | None = None
    controller: Controller | None = None
    """Its own tuning; `control.controller` where not given."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._method_amiss())
        return self

    @property
    def method(self) -> str:
        """The trade's word for what moves."""
        return "variable speed" if self.speed else "outlet damper"

    def _method_amiss(self) -> Iterator[Problem]:
        given = [name for name in METHODS if getattr(self, name) is not None]
        if len(given) > 1:
            yield Problem((given[1],), f"{' and '.join(given)} together",
                          f"one of {' or '.join(METHODS)}")
        elif not given:
            yield Problem((), "nothing that moves", f"one of {' or '.join(METHODS)}",
                          'such as speed = { ramp_up = "40 s", ramp_down = "60 s" }')


def names_amiss(names: Iterable[str]) -> Iterator[Problem]:
    """A strategy's name becomes the name of its files: portable, and unlike the others."""
    seen: dict[str, str] = {}
    for name in names:
        if not _FILE_NAME.fullmatch(name) or _RESERVED.fullmatch(name):
            yield Problem((name,), f"the name {quoted(name)}",
                          "letters, digits, - _ . and spaces, at most 60",
                          "results are filed under this name")
        elif name.casefold() in seen:
            other = quoted(seen[name.casefold()])
            yield Problem((name,), f"the name {quoted(name)} beside {other}",
                          "names that differ in more than upper and lower case",
                          "some systems could not keep their files apart")
        seen.setdefault(name.casefold(), name)
