"""pydantic's account of what is wrong, in our own sentences."""

import types
from difflib import get_close_matches
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from simfan.errors import Mistakes, PathPart, Problem
from simfan.plant.case import Case
from simfan.plant.quantities import mark_of, told

Path = tuple[PathPart, ...]


MOST_TOLD = 100
"""Mistakes told one by one; a file with more is broken as a whole."""


def problems(error: ValidationError) -> list[Problem]:
    """Every mistake that pydantic found; of a file full of them, the first hundred."""
    details = error.errors(include_url=False)
    found = [problem for detail in details[:MOST_TOLD] for problem in _translate(dict(detail))]
    if len(details) > MOST_TOLD:
        found.append(Problem((), f"{len(details) - MOST_TOLD} more mistakes", "none"))
    return found


def _translate(detail: dict[str, Any]) -> list[Problem]:
    path: Path = detail["loc"]
    inner = detail.get("ctx", {}).get("error")
    if isinstance(inner, Mistakes):
        return [Problem(path + p.path, p.got, p.allowed, p.hint) for p in inner.problems]
    kind, given = detail["type"], detail["input"]
    if kind == "extra_forbidden":
        return [_unknown_key(path)]
    if kind == "missing":
        return [_missing_key(path)]
    if kind == "literal_error":
        return [_not_a_choice(path, given)]
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        keys = ", ".join(_fields(_type_at(path)))
        hint = f"its keys: {keys}" if keys else ""
        return [Problem(path, told(given), f"a table: [{'.'.join(map(str, path))}]", hint)]
    if kind in ("tuple_type", "list_type"):
        name = path[-1]
        hint = f"each begins with [[{name}]], two brackets" if isinstance(given, dict) else ""
        return [Problem(path, told(given), "a list", hint)]
    if kind in ("bool_type", "bool_parsing"):
        return [Problem(path, told(given), "true or false, without quotes")]
    if kind == "string_type":
        return [Problem(path, told(given), "a text in quotes")]
    return [Problem(path, told(given), "", detail["msg"])]


HEIGHT = ("barometer is the pressure of the air there: 101.3 kPa at sea level, 89.9 kPa at 1000 m, "
          "79.5 kPa at 2000 m (ISO 2533)")
MEANT: dict[Path, str] = {
    ("air", key): HEIGHT for key in ("altitude", "elevation", "height")}
"""Unknown key → what stands for it."""


def _unknown_key(path: Path) -> Problem:
    *above, key = path
    known = _fields(_type_at(tuple(above)))
    near = get_close_matches(str(key), known, n=1, cutoff=0.6)
    elsewhere = [p for p in _all_paths() if p[-1] == key]
    if meant := MEANT.get(path):
        hint = meant
    elif near:
        hint = f"did you mean {near[0]}?"
    elif elsewhere:
        hint = f"{key} belongs to {' or '.join('.'.join(p[:-1]) or 'the top' for p in elsewhere)}"
    else:
        hint = ""
    return Problem(path, "an unknown key", ", ".join(known), hint)


def _missing_key(path: Path) -> Problem:
    field = _type_at(path)
    fields = _fields(field)
    if fields:
        wanted = f"a table [{'.'.join(str(p) for p in path)}]"
        return Problem(path, "nothing", wanted, f"its keys: {', '.join(fields)}")
    return Problem(path, "nothing", _allowed(path), f"{path[-1]} is missing")


def _not_a_choice(path: Path, given: object) -> Problem:
    choices = [told(c) for c in get_args(_type_at(path))]
    near = get_close_matches(told(given), choices, n=1, cutoff=0.5)
    return Problem(path, told(given), " or ".join(choices),
                   f"did you mean {near[0]}?" if near else "")


def _allowed(path: Path) -> str:
    """What may stand at a key, from its type."""
    above = _type_at(path[:-1])
    field = fields_of(above).get(str(path[-1])) if _is_model(above) else None
    if field and (mark := mark_of(field)):
        return mark.allowed
    choices = get_args(_type_at(path))
    if choices and all(isinstance(c, str) for c in choices):
        return " or ".join(f'"{c}"' for c in choices)
    return "a text in quotes" if _type_at(path) is str else ""


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def fields_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Its fields by the names that a file has for them."""
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _fields(kind: Any) -> list[str]:
    return list(fields_of(kind)) if _is_model(kind) else []


def _bare(kind: Any) -> Any:
    """The type without `| None`."""
    if get_origin(kind) in (Union, types.UnionType):
        return next(part for part in get_args(kind) if part is not type(None))
    return kind


def _type_at(path: Path) -> Any:
    """The type of what stands at this path of a scenario; None where nothing is known."""
    kind: Any = Case
    for part in path:
        if _is_model(kind):
            field = fields_of(kind).get(str(part))
            kind = _bare(field.annotation) if field else None
        elif get_origin(kind) is dict:
            kind = get_args(kind)[1]
        elif get_origin(kind) is tuple:
            kind = get_args(kind)[0]
        else:
            return None
    return kind


def inner_types(kind: Any) -> list[type[BaseModel]]:
    """The descriptions that a field of this type holds, in a list, by name or alone."""
    kind = _bare(kind)
    if get_origin(kind) is dict:
        kind = get_args(kind)[1]
    elif get_origin(kind) is tuple:
        kind = get_args(kind)[0]
    return [kind] if _is_model(kind) else []


def _all_paths(kind: Any = Case, path: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    """Every key of the format, strategies and events by the names <name> and #."""
    found: list[tuple[str, ...]] = []
    kind = _bare(kind)
    if get_origin(kind) is dict:
        return _all_paths(get_args(kind)[1], (*path, "<name>"))
    if get_origin(kind) is tuple:
        return _all_paths(get_args(kind)[0], path)
    for name in _fields(kind):
        found.append((*path, name))
        found += _all_paths(fields_of(kind)[name].annotation, (*path, name))
    return found
