"""From the numbers of a case to what a person types, and back.

    case ─► text and unit, to a few digits ─► case     what is typed is what is run

A number is rounded in the unit in which it is typed; the case is then built from the text.
"""

from collections.abc import Mapping
from math import ceil, floor, isclose, isfinite, log10
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from simfan import units
from simfan.errors import Mistakes, PathPart, Problem, ScenarioError
from simfan.plant.case import Case
from simfan.plant.held import HeldList, HeldQuantity
from simfan.plant.numbers import FROM_FILE, Mark, Plain, Quantity, mark_of
from simfan.plant.quantities import PlainList, QuantityList
from simfan.scenario import sentences, written
from simfan.sheets.sheet import Path, Typed
from simfan.units import System

DIGITS = 4
"""Significant, of a number that is typed in: common practice, no source."""
SAME = 1e-12
"""Numbers no further apart are one number in two units, such as 95 % and 0.95."""
YES, NO = "yes", "no"


def value_at(case: Case, path: Path) -> Any:
    """What stands at a path of the case."""
    here: Any = case
    for part in path:
        here = _in(here, part)
    return here


def has(case: Case, path: Path) -> bool:
    """Whether the case has such a place, be it empty."""
    try:
        value_at(case, path)
    except (KeyError, IndexError, AttributeError, TypeError):
        return False
    return True


def _in(here: Any, part: PathPart) -> Any:
    """What stands under a key, at a place of a list, or in a field."""
    return getattr(here, str(part)) if isinstance(here, BaseModel) else here[part]


def typed(case: Case, path: Path, system: System = "si", up: bool = False) -> Typed:
    """The value at a path as it is typed; with `up` a number is never rounded down."""
    value, mark = value_at(case, path), _mark(case, path)
    if isinstance(value, bool):
        return Typed(path, YES if value else NO)
    if isinstance(value, str):
        return Typed(path, value)
    kind = _kind(case, mark)
    if kind is None:
        return Typed(path, rounded(float(value), up))
    unit = units.preferred(kind, system)
    return Typed(path, rounded(units.convert(float(value), kind, unit), up), unit)


def rounded(value: float, up: bool = False, digits: int = DIGITS) -> str:
    """The number to so many significant digits as a person writes it."""
    if value == 0.0 or not isfinite(value):
        return f"{value:g}".replace("-0", "0")
    near = float(f"{value:.{digits}g}")
    if up and near < value:
        step = 10.0 ** (floor(log10(abs(value))) - digits + 1)
        near = float(f"{ceil(value / step) * step:.{digits}g}")
    return f"{near:.15g}"


def same(case: Case, cell: Typed) -> bool:
    """Whether the case has just this value where the cell belongs. Raises ScenarioError for a text
    that is no such value."""
    held = value_at(case, cell.path)
    if held is None:
        return False
    if isinstance(held, bool):
        return cell.text == (YES if held else NO)
    if isinstance(held, str):
        return cell.text == held
    return isclose(_read(case, cell), held, rel_tol=SAME, abs_tol=0.0)


def with_typed(case: Case, cells: Mapping[Path, Typed]) -> Case:
    """The case with what was typed in; what it has already is left as it is, so that a default
    stays one. Raises ScenarioError, its problems with the paths of the cells."""
    changed = _changed(case, cells)
    if not changed:
        return case
    tables = written.tables(case)
    for cell in changed.values():
        _put(tables, case, cell)
    try:
        return Case.model_validate(tables, context=FROM_FILE)
    except ValidationError as error:
        raise ScenarioError(sentences.problems(error)) from None


def _changed(case: Case, cells: Mapping[Path, Typed]) -> dict[Path, Typed]:
    """Cells that say something else than the case. Raises ScenarioError with every text that is no
    such value."""
    found: dict[Path, Typed] = {}
    amiss: list[Problem] = []
    for path, cell in cells.items():
        try:
            if not same(case, cell):
                _as_in_a_file(case, cell)
                found[path] = cell
        except ScenarioError as error:
            amiss += error.problems
    if amiss:
        raise ScenarioError(amiss)
    return found


def _put(tables: dict[str, Any], case: Case, cell: Typed) -> None:
    """Into the tables of a file. Tables on the way are made."""
    *way, last = cell.path
    here: Any = tables
    for part in way:
        here = here[part] if isinstance(part, int) else here.setdefault(part, {})
    if isinstance(last, int):
        values = here["values"] if isinstance(here, dict) else here
        values[last] = _number(case, cell)
    else:
        here[last] = _as_in_a_file(case, cell)


def _as_in_a_file(case: Case, cell: Typed) -> Any:
    old = value_at(case, cell.path)
    if isinstance(old, bool):
        if cell.text not in (YES, NO):
            raise _amiss(cell, f'"{YES}" or "{NO}"')
        return cell.text == YES
    if isinstance(old, str):
        return cell.text
    if _kind(case, _mark(case, cell.path)) is None:
        return _number(case, cell)
    return f"{cell.text} {cell.unit}"


def _number(case: Case, cell: Typed) -> float:
    """The number of a cell, in the unit in which it is typed."""
    _read(case, cell)
    mark = _mark(case, cell.path)
    return _plain_number(cell, mark) if isinstance(mark, Plain) else float(cell.text)


def _read(case: Case, cell: Typed) -> float:
    """The cell's value in SI."""
    mark = _mark(case, cell.path)
    try:
        if isinstance(mark, Quantity | HeldQuantity):
            _bare(cell)
            return mark.read(f"{cell.text} {cell.unit}", True)
        if isinstance(mark, Plain):
            return mark.read(_plain_number(cell, mark))
    except Mistakes as error:
        raise ScenarioError([Problem(cell.path, p.got, p.allowed, p.hint)
                             for p in error.problems]) from None
    raise ValueError(f"no number is typed at {cell.path}")


def _bare(cell: Typed) -> None:
    """Raises ScenarioError for a text that is no number, such as one with its unit in it."""
    try:
        float(cell.text)
    except ValueError:
        raise _amiss(cell, f"a number alone; its unit is {cell.unit}, beside it") from None


def _plain_number(cell: Typed, mark: Plain) -> float:
    try:
        number = float(cell.text)
        return int(number) if mark.whole and number == int(number) else number
    except (ValueError, OverflowError):
        raise _amiss(cell, mark.allowed) from None


def _amiss(cell: Typed, allowed: str) -> ScenarioError:
    return ScenarioError([Problem(cell.path, units.quoted(cell.text), allowed)])


def _kind(case: Case, mark: Mark | None) -> str | None:
    """Kind of unit; None for a plain number."""
    if isinstance(mark, Quantity):
        return mark.kind
    return case.control.held_kind if isinstance(mark, HeldQuantity) else None


def _mark(case: Case, path: Path) -> Mark | None:
    """How the number at a path is read; of a list, how one of its items is."""
    here: Any = case
    field: FieldInfo | None = None
    for part in path:
        if isinstance(here, BaseModel):
            field = type(here).model_fields[str(part)]
        here = _in(here, part)
    mark = mark_of(field) if field else None
    if isinstance(mark, QuantityList):
        return mark.item
    if isinstance(mark, HeldList):
        return HeldQuantity()
    return Plain() if isinstance(mark, PlainList) else mark
