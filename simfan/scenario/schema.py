"""The file format as a JSON Schema, for editors and other programs."""

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from simfan.plant.case import Case
from simfan.plant.quantities import Quantity, mark_of
from simfan.scenario.assumed import as_written
from simfan.scenario.sentences import fields_of, inner_types


def schema() -> dict[str, Any]:
    """JSON Schema (Draft 2020-12) of a scenario file, read as tables.

    Quantities are texts with their unit, and so are their defaults. What JSON Schema cannot say,
    such as the limits of a quantity or what sections must agree on, stands in the descriptions;
    `load` is the judge.
    """
    made = Case.model_json_schema()
    models = {model.__name__: model for model in _models(Case)}
    for name, part in [("Case", made), *made["$defs"].items()]:
        for key, told in part["properties"].items():
            _as_in_a_file(told, fields_of(models[name])[key])
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made,
            "title": "A simfan scenario"}


def _as_in_a_file(told: dict[str, Any], field: Any) -> None:
    """Write a property as a file has it: no null, and a default with its unit."""
    default = told.pop("default", None)
    if default is not None and not isinstance(default, dict | list):
        quantity = isinstance(mark_of(field), Quantity)
        told["default"] = as_written(field.default, field) if quantity else default
    choices = [choice for choice in told.pop("anyOf", []) if choice != {"type": "null"}]
    if len(choices) == 1:
        told |= {**choices[0], **told}
    elif choices:
        told["anyOf"] = choices
    if isinstance(mark := mark_of(field), Quantity):
        unit = f"{mark.allowed}{', ' if mark.bounds else ''}{mark.bounds}"
        told["description"] = f"{field.description or ''} A quantity: {unit}.".strip()


def _models(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    yield model
    for field in model.model_fields.values():
        for inner in inner_types(field.annotation):
            yield from _models(inner)
