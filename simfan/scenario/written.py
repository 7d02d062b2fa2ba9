"""A scenario as the text of a file, in SI units, that reads back as the same scenario."""

import json
import re
from collections.abc import Iterator, Mapping
from math import inf, nextafter
from typing import Any

from pydantic import BaseModel

from simfan.plant.case import Case
from simfan.plant.held import HeldList, HeldQuantity, kind_of
from simfan.plant.numbers import Mark, Quantity, mark_of
from simfan.plant.quantities import QuantityList
from simfan.plant.stress import Between
from simfan.units import KINDS

FROM_OTHER_FILES = ("family_file", "profile_file")
"""Keys whose files were read into the scenario."""
NOT_SI = "fraction"
"""Kind without a unit of factor one: it is written in percent."""
_BARE = re.compile(r"[A-Za-z0-9_-]+")

Tables = dict[str, Any]


def tables(case: Case) -> Tables:
    """The tables of a file, as tomllib would give them; only keys that were set."""
    return dict(_pairs(case, case.control.held_kind))


def text(made: Mapping[str, Any], head: str = "") -> str:
    """The tables as TOML, below lines of comment."""
    lines = [f"# {line}".rstrip() for line in head.splitlines()]
    lines += [f"{_key(k)} = {_value(v)}" for k, v in made.items() if not _opens(v)]
    for name, value in made.items():
        if isinstance(value, list) and _opens(value):
            for item in value:
                lines += ["", f"[[{_key(name)}]]", *_lines(item)]
        elif isinstance(value, dict) and name == "strategies":
            for inner, table in value.items():
                lines += ["", f"[strategies.{_key(inner)}]", *_lines(table)]
        elif isinstance(value, dict):
            lines += ["", f"[{_key(name)}]", *_lines(value)]
    return "\n".join(lines) + "\n"


def quantity(value: float, kind: str) -> str:
    """A value in SI as a text that reads back as the same number, where one does."""
    if kind == NOT_SI:
        return f"{_percent(value)!r} %"
    return f"{float(value)!r} {_si_unit(kind)}"


def _pairs(part: BaseModel, held: str) -> Iterator[tuple[str, Any]]:
    for name, field in type(part).model_fields.items():
        value = getattr(part, name)
        if name in part.model_fields_set and value is not None and name not in FROM_OTHER_FILES:
            yield field.alias or name, _plain(value, mark_of(field), held)


def _plain(value: Any, mark: Mark | None, held: str) -> Any:
    """A value of a description as it stands in a file."""
    if isinstance(value, BaseModel):
        return dict(_pairs(value, held))
    if isinstance(value, dict):
        return {key: _plain(inner, None, held) for key, inner in value.items()}
    if isinstance(mark, Between):
        return [_plain(end, mark.item, held) for end in value]
    if isinstance(value, tuple):
        return _many(value, mark, held)
    if isinstance(mark, HeldQuantity) and not isinstance(value, str):
        return quantity(value, kind_of(value) or held)
    if isinstance(mark, Quantity):
        return quantity(value, kind_of(value) or mark.kind)
    return float(value) if isinstance(value, float) else value


def _many(values: tuple[Any, ...], mark: Mark | None, held: str) -> Any:
    kind = (mark.item.kind if isinstance(mark, QuantityList) else
            (kind_of(values[0]) or held) if isinstance(mark, HeldList) else None)
    if kind is None:
        return [_plain(item, None, held) for item in values]
    numbers = [_percent(v) if kind == NOT_SI else float(v) for v in values]
    return {"unit": "%" if kind == NOT_SI else _si_unit(kind), "values": numbers}


def _si_unit(kind: str) -> str:
    return next(name for name, unit in KINDS[kind].items()
                if unit.factor == 1.0 and unit.offset == 0.0)


def _percent(share: float) -> float:
    """The percentage that is read as this share, or the nearest where none is."""
    factor, near = KINDS[NOT_SI]["%"].factor, 100.0 * float(share)
    around = (near, nextafter(near, inf), nextafter(near, -inf), float(f"{near:.15g}"))
    return min(around, key=lambda percent: abs(factor * percent - share))


def _opens(value: Any) -> bool:
    """Whether it gets a section of its own."""
    return isinstance(value, dict) or (
        isinstance(value, list) and bool(value) and isinstance(value[0], dict))


def _lines(table: Mapping[str, Any]) -> list[str]:
    return [f"{_key(k)} = {_value(v)}" for k, v in table.items()]


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _value(name)


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(_lines(value)) + " }" if value else "{}"
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(value)
