"""The reference in Python is whole: every public name is documented, every number has a unit."""

import ast
import dataclasses
import inspect
import re
import sys
import typing
from collections.abc import Iterator, Mapping
from functools import cache
from types import UnionType
from typing import Any

import numpy as np
import pytest
from pydantic import BaseModel

from simfan import api
from simfan.plant.case import Case, Criteria
from tests.docs.blocks import ROOT

PAGE = (ROOT / "docs" / "api.md").read_text("utf-8")


def parts(annotation: Any) -> Iterator[Any]:
    """The classes within an annotation."""
    if typing.get_origin(annotation) in (None, typing.Literal):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from parts(inner)


@cache
def returned() -> dict[str, type]:
    """Every dataclass that comes back from the front door, by name."""
    found: dict[str, type] = {}
    wanted = [part for name in api.__all__
              for part in parts(typing.get_type_hints(getattr(api, name)).get("return"))]
    while wanted:
        one = wanted.pop()
        if not dataclasses.is_dataclass(one) or one.__qualname__ in found:
            continue
        found[one.__qualname__] = one
        wanted += one.__subclasses__()
        for hint in typing.get_type_hints(one).values():
            wanted += parts(hint)
    return found


def field_words(cls: type) -> dict[str, str]:
    """Field → the text that stands below it, of the class and those it comes from."""
    found: dict[str, str] = {}
    for one in reversed(cls.__mro__[:-1]):
        body = ast.parse(inspect.getsource(one)).body[0]
        assert isinstance(body, ast.ClassDef)
        for part, below in zip(body.body, [*body.body[1:], ast.Pass()], strict=True):
            if (isinstance(part, ast.AnnAssign) and isinstance(part.target, ast.Name)
                    and isinstance(below, ast.Expr) and isinstance(below.value, ast.Constant)):
                found[part.target.id] = str(below.value.value)
    return found


def is_number(hint: Any) -> bool:
    """Whether a field holds numbers of some unit."""
    inner = [part for part in parts(hint) if part is not type(None)]
    if any(part in (float, int, np.ndarray) for part in inner):
        return not any(part is str for part in inner) or Mapping in (typing.get_origin(hint),)
    return False


@pytest.mark.parametrize("name", api.__all__)
def test_every_function_of_the_front_door_is_documented(name: str) -> None:
    words = inspect.getdoc(getattr(api, name))
    assert words
    assert words.rstrip().endswith((".", ")", "`"))


def test_the_page_shows_all_of_the_front_door() -> None:
    assert re.search(r"automodule:: simfan\.api\n   :members:\n", PAGE)
    assert {"assumed", "compare", "describe", "load", "run", "schema", "starter"} <= {*api.__all__}


def on_the_page() -> set[str]:
    """Classes that the page asks for."""
    return {name for line in re.findall(r":members: (.+)", PAGE) for name in line.split(", ")}


def test_the_page_shows_every_class_that_comes_back() -> None:
    assert {"Comparison", "StrategyResult", "History", "Measures", "Surge"} <= {*returned()}
    assert sorted({*returned()} - on_the_page()) == []
    for name in on_the_page() - {*returned()}:
        assert any(hasattr(sys.modules[module], name)
                   for module in re.findall(r"automodule:: (\S+)", PAGE)), name


@pytest.mark.parametrize("name", sorted(returned()))
def test_every_number_that_comes_back_says_its_unit(name: str) -> None:
    cls = returned()[name]
    assert (cls.__doc__ or "").rstrip().endswith(".")
    words, hints = field_words(cls), typing.get_type_hints(cls)
    missing = [field.name for field in dataclasses.fields(cls) if is_number(hints[field.name])
               and not re.search(r"\[[^\]]+\]", words.get(field.name, ""))]
    assert missing == []


def test_every_part_of_a_case_is_documented() -> None:
    """Its numbers are SI; their kinds stand in the scenario reference."""
    for model in (Case, Criteria):
        assert issubclass(model, BaseModel)
        assert model.__doc__
        for key, field in model.model_fields.items():
            inner = [part for part in parts(field.annotation) if inspect.isclass(part)]
            told = field.description or "".join(part.__doc__ or "" for part in inner)
            assert told, key


def test_a_union_is_taken_apart() -> None:
    assert isinstance(float | None, UnionType)
    assert [*parts(float | None)] == [float, type(None)]
    assert is_number(float | None)
    assert not is_number(str)
