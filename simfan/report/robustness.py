"""First on a comparison: whether its strategies are tuned alike, over what range, and to what."""

from collections.abc import Iterator

from rich.console import Group, RenderableType

from simfan.compare import Comparison, StrategyResult
from simfan.history import Robustness
from simfan.metrics import unstable_words
from simfan.report.items import item
from simfan.report.sections import Section
from simfan.report.terminal import Words
from simfan.report.wording import reworded
from simfan.units import System, show, significant

ROBUST_ENOUGH = 2.0
"""Ms above which given gains are warned of. Common practice, no source."""

Known = list[tuple[StrategyResult, Robustness]]


def _text(comparison: Comparison, system: System) -> RenderableType | None:
    lead, warned = headline(comparison, system), warnings(comparison, system)
    if not lead and not warned:
        return None
    return Group(*([Words(lead)] if lead else []), *map(item, warned))


def headline(comparison: Comparison, system: System) -> str:
    """Who is tuned to which Ms over which range; "" where nothing is known of it."""
    known = [(r, r.history.facts.robustness) for r in comparison.strategies]
    sought = [(r, f) for r, f in known if f and f.sought and f.gains]
    given = [(r, f) for r, f in known if f and not f.sought and f.sensitivity is not None]
    parts = [*_tuned(comparison, sought, system), *_given(comparison, given, system)]
    if not parts:
        return ""
    return " ".join([*parts, *_beyond(comparison, (sought or given)[0][1], system)])


def _tuned(comparison: Comparison, sought: Known, system: System) -> Iterator[str]:
    if not sought:
        return
    found = sought[0][1]
    yield (f"{_who(comparison, sought)} tuned to Ms {found.target:g} over "
           f"{_range(comparison, found, system)}, for small moves{_equal(sought)}.")


def _given(comparison: Comparison, given: Known, system: System) -> Iterator[str]:
    """The spread of Ms where the gains are the scenario's own."""
    if not given:
        return
    values = sorted(f.sensitivity or 0.0 for _, f in given)
    spread = " to ".join(dict.fromkeys(significant(v) for v in (values[0], values[-1])))
    yield (f"{_who(comparison, given)} as the scenario gives it: Ms {spread} over "
           f"{_range(comparison, given[0][1], system)}, for small moves.")


def _equal(sought: Known) -> str:
    return ": compared at equal robustness" if len(sought) > 1 else ""


def _who(comparison: Comparison, some: Known) -> str:
    names = [r.name for r, _ in some]
    if len(names) < len(comparison.strategies):
        return f"{', '.join(names)}"
    return "Every strategy" if len(names) > 1 else names[0]


def _range(comparison: Comparison, found: Robustness, system: System) -> str:
    kind = comparison.strategies[0].history.facts.held_kind
    assert found.low is not None and found.high is not None
    return f"{show(found.low, kind, system)} to {show(found.high, kind, system)}"


def _beyond(comparison: Comparison, found: Robustness, system: System) -> Iterator[str]:
    """Setpoints of the run of which this Ms says nothing."""
    facts = comparison.strategies[0].history.facts
    ends = [v for r in comparison.strategies for c in r.history.facts.changes
            for v in (c.start, c.end)]
    outside = [v for v in ends if not (found.low or v) <= v <= (found.high or v)]
    if outside:
        low, high = (show(f(ends), facts.held_kind, system) for f in (min, max))
        yield f"The run goes beyond it: setpoints from {low} to {high}."


def warnings(comparison: Comparison, system: System) -> list[str]:
    """Given gains that are not robust."""
    return [f"{r.name}: {reworded(words, system)}" for r in comparison.strategies
            for words in _warned(r, system)]


def _warned(result: StrategyResult, system: System) -> Iterator[str]:
    facts = result.history.facts
    found = facts.robustness
    if found is None or found.sought:
        return
    if found.unstable_at:
        yield f"with the gains given, {unstable_words(facts)}"
    elif found.sensitivity is not None and found.sensitivity > ROBUST_ENOUGH:
        yield (f"the gains given have Ms {significant(found.sensitivity)} at "
               f"{show(found.worst_at or 0.0, facts.held_kind, system)}, above "
               f"{ROBUST_ENOUGH:g}: little is left for a plant that differs from the model")


ROBUSTNESS = Section("robustness", "", text=_text)
