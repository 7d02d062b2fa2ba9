"""Tunings written into a scenario's text: every other line stays as it is."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from simfan.errors import RunError
from simfan.plant.control import SOUGHT
from simfan.plant.tuning import Standard
from simfan.scenario.lines import Path as Key
from simfan.scenario.lines import Span, key_spans
from simfan.scenario.reader import load
from simfan.scenario.rewrite import bare, ending_of, into, own_line, put, tried

OF_A_TUNING = ("form", "gain", "proportional_band", "reset", "repeats", "derivative",
               "integral_gain", "derivative_gain")
"""Keys of a controller that its tuning takes the place of."""


class Typed(NamedTuple):
    """What is typed in of the standard form; times in [s]."""

    gain: float
    reset: float
    derivative: float = 0.0
    full_travel: float | None = None
    """None where what the scenario says stands."""


def write_tunings(source: Path, tunings: Mapping[str, Typed], target: Path) -> Path | None:
    """Write the scenario of `source` with these tunings into `target`; the path at which what stood
    there before is kept, if anything did.

    The new text is read as a scenario first, and its tunings held against what was asked. Raises
    RunError, with the target as it was, where that cannot be done.
    """
    text = source.read_bytes().decode("utf-8-sig")
    for strategy, tuning in tunings.items():
        text = with_tuning(text, strategy, tuning)
    if set(load(source).untuned) <= set(tunings):
        text = _nothing_sought(text)
    case = tried(target, text, "the new tunings")
    for strategy, tuning in tunings.items():
        found = case.control.given(case.strategies[strategy].controller)
        if found is None or found.standard != Standard(*tuning[:3]):
            raise RunError(f"{target} was left as it is: the controller of {strategy} could not be "
                           f"written; by hand: controller = {_inline(tuning)}")
    return put(target, text)


def with_tuning(text: str, strategy: str, tuning: Typed) -> str:
    """The text with the strategy's controller tuned so: in the place of what stands there, else
    below the strategy's header, else as a table of its own at the end."""
    key, spans = ("strategies", strategy, "controller"), key_spans(text)
    if key in spans:
        _, start, end = spans[key]
        kept = [text[a:c].strip() for path, (a, _, c) in spans.items()
                if path[:3] == key and len(path) == 4 and path[3] not in OF_A_TUNING]
        after = text[start:end]
        return text[:start] + _inline(tuning, kept) + after[len(after.rstrip()):] + text[end:]
    pairs = sorted(span for path, span in spans.items()
                   if path[:3] == key and len(path) == 4 and path[3] in OF_A_TUNING)
    if pairs and all(own_line(text, span) for span in pairs):
        return _lines_replaced(text, pairs, tuning)
    if any(path[:3] == key for path in spans):
        raise RunError(f"the controller of {strategy} is written in a way that cannot be added to "
                       f"without risk; nothing was written. By hand: {_inline(tuning)}")
    return _added(text, key, tuning)


def _nothing_sought(text: str) -> str:
    """Keys of the search become comments, since every strategy has its gains now."""
    spans = [span for path, span in key_spans(text).items()
             if path[:1] == ("control",) and path[1:] in {(key,) for key in SOUGHT}]
    for start, _, end in sorted(spans, reverse=True):
        if own_line(text, (start, start, end)):
            text = f"{text[:start]}# {text[start:end]}{text[end:]}"
    return text


def _lines_replaced(text: str, pairs: Sequence[Span], tuning: Typed) -> str:
    """The old lines stay as comments."""
    first, value, _ = pairs[0]
    before = re.sub(r"[\w-]+\s*=\s*$", "", text[first:value])
    ending = ending_of(text)
    new = "".join(f"{before}{pair}{ending}" for pair in _pairs(tuning))
    for start, _, end in reversed(pairs):
        text = text[:start] + "# " + text[start:end].replace("\n", "\n# ") + text[end:]
    line = text.rfind("\n", 0, first) + 1
    return text[:line] + new + text[line:]


def _added(text: str, key: Key, tuning: Typed) -> str:
    """A controller where the strategy had none of its own."""
    made = into(text, key[:2], key[2:], f"controller = {_inline(tuning)}")
    if made is not None:
        return made
    ending = ending_of(text)
    body = "".join(f"{pair}{ending}" for pair in _pairs(tuning))
    return (text if text.endswith("\n") else text + ending) + (
        f"{ending}[strategies.{bare(key[1])}.controller]{ending}{body}")


def _pairs(tuning: Typed) -> list[str]:
    pairs = [f"gain = {tuning.gain:.9g}", f'reset = "{tuning.reset:.9g} s"']
    return pairs + [f'{key} = "{time:.9g} s"' for key, time in (
        ("derivative", tuning.derivative), ("full_travel", tuning.full_travel)) if time]


def _inline(tuning: Typed, kept: Sequence[str] = ()) -> str:
    return "{ " + ", ".join([*_pairs(tuning), *kept]) + " }"
