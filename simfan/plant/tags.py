"""The tags by which the works calls its devices, such as "FIC-101" after ISA-5.1."""

import re
from collections import Counter
from collections.abc import Iterator
from typing import Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.quantities import Description, refuse
from simfan.units import quoted

_TAG = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._/-]{0,29}")
ALLOWED = "a letter or digit, then letters, digits, blanks and . _ / -, at most 30 in all"


class Tags(Description):
    """Tags for the sheets, as the site's own list has them; nothing in a run depends on them."""

    loop: str | None = None
    """The controller, such as "FIC-101"."""
    transmitter: str | None = None
    """What measures the value held, such as "FT-101"."""
    fan: str | None = None
    motor: str | None = None
    outlet_damper: str | None = None
    inlet_box_damper: str | None = None
    inlet_vanes: str | None = None
    speed: str | None = None
    """The drive."""
    alarms: tuple[str, ...] = ()
    """One for each row of `protection`, in its order."""

    @model_validator(mode="after")
    def _valid(self) -> Self:
        refuse(self._amiss())
        return self

    def of(self, device: str) -> str | None:
        """The tag of "inlet vanes" or "inlet_vanes"; None where none is given."""
        return getattr(self, device.replace(" ", "_"), None)

    def _given(self) -> dict[tuple[str | int, ...], str]:
        one = {(name,): getattr(self, name) for name in type(self).model_fields
               if name != "alarms" and getattr(self, name) is not None}
        return one | {("alarms", k): tag for k, tag in enumerate(self.alarms)}

    def _amiss(self) -> Iterator[Problem]:
        given = self._given()
        count = Counter(tag.casefold() for tag in given.values())
        for path, tag in given.items():
            if not _TAG.fullmatch(tag):
                yield Problem(path, quoted(tag), ALLOWED, 'such as "FIC-101"')
            elif count[tag.casefold()] > 1:
                yield Problem(path, f"{quoted(tag)} more than once", "a tag for one device alone")


def alarms_amiss(tags: Tags, rows: int) -> Iterator[Problem]:
    """As many tags of alarms as the table of causes and effects has rows, or none."""
    if tags.alarms and len(tags.alarms) != rows:
        yield Problem(("tags", "alarms"), f"{len(tags.alarms)} tags for {rows} rows",
                      "as many as there are [[protection]] rows, in their order, or none")
