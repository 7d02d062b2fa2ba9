"""Results as what JSON can hold: dicts, lists, words, finite numbers and null."""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from math import isfinite
from typing import Any

import numpy as np

from simfan.metrics.results import Change


def plain(value: Any) -> Any:
    """Dataclasses become dicts by field name; a number that is not finite becomes null, with a
    reason beside it. Raises TypeError for what JSON cannot hold."""
    if isinstance(value, Change):
        return plain(value.named())
    if is_dataclass(value):
        return plain({f.name: getattr(value, f.name) for f in fields(value)})
    if isinstance(value, Mapping):
        return _object(value)
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float):
        return value if isfinite(value) else None
    raise TypeError(f"{value!r} of type {type(value).__name__} has no place in JSON")


def _object(value: Mapping[str, Any]) -> dict[str, Any]:
    found = {str(k): plain(v) for k, v in value.items()}
    odd = {k: f"came out as {v}" for k, v in value.items()
           if isinstance(v, (float, np.floating)) and not isfinite(v)}  # fmt: skip
    if odd:
        found["reasons"] = {**found.get("reasons", {}), **odd}
    return found


def with_reasons(found: dict[str, Any], reasons: Mapping[str, str]) -> dict[str, Any]:
    """`found` with a reason beside each null that has none yet."""
    known = {**{k: why for k, why in reasons.items() if found[k] is None},
             **found.get("reasons", {})}  # fmt: skip
    return {**found, "reasons": known} if known else found
