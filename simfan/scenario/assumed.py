"""What was assumed because the file does not say it."""

import re
from collections.abc import Iterator
from typing import Any

from pydantic.fields import FieldInfo

from simfan.plant.case import Case
from simfan.plant.quantities import Description, Quantity, mark_of, told
from simfan.units import show

_SOURCE = re.compile(r"Default:\s+(.*)", re.S)


def assumed(case: Case) -> list[str]:
    """One sentence for every default used: its key, value with unit, and where it comes from.

    Such as "control.transmitter.lag = 1 s (default: common practice, no source)". A default
    without a consequence, such as an event's missing remark, is not told. Whatever was set when
    the description was built counts as written, whether in a file or from Python.
    """
    return list(_of(case, ""))


def source(field: FieldInfo) -> str:
    """Where a default comes from: what the field's description says after "Default: "."""
    said = _SOURCE.search(field.description or "")
    return " ".join(said[1].split()).rstrip(".") if said else ""


def _of(part: Description, above: str, idle: frozenset[str] = frozenset()) -> Iterator[str]:
    idle = idle | frozenset(part.idle())
    for name, field in type(part).model_fields.items():
        if name in idle:
            continue
        value, key = getattr(part, name), f"{above}{name}"
        if isinstance(value, Description):
            inside = (k.removeprefix(f"{name}.") for k in idle if k.startswith(f"{name}."))
            yield from _of(value, f"{key}.", frozenset(inside))
        elif isinstance(value, dict):
            for inner, description in value.items():
                yield from _of(description, f"{key}.{inner}.")
        elif name == "family" and value:
            for place, description in enumerate(value, start=1):
                yield from _of(description, f"{key}#{place}.")
        elif name not in part.model_fields_set and (why := source(field)):
            yield _sentence(key, value, field, why)


def _sentence(key: str, value: Any, field: FieldInfo, why: str) -> str:
    if value is None:
        return f"{key} is not given (default: {why})"
    return f"{key} = {as_written(value, field)} (default: {why})"


def as_written(value: Any, field: FieldInfo) -> str:
    """The value as a person would write it in a file."""
    mark = mark_of(field)
    if isinstance(mark, Quantity):
        return show(value, mark.kind, digits=6)
    if isinstance(value, bool):
        return told(value)
    return f"{value:g}" if isinstance(value, int | float) else str(value)
