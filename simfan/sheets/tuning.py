"""The loop tuning sheet: a line for each setting of each controller."""

from collections.abc import Iterator, Mapping
from math import degrees

from simfan.plant.case import Strategy
from simfan.sheets.known import ALL, NOT_RUN, Known, number
from simfan.sheets.sheet import PLAIN, UNIT, Cell, Path, Sheet, na, sheet
from simfan.sheets.typed import value_at
from simfan.units import show

COLUMNS = ("Strategy", "Loop", "Tag", "Field", "Value", UNIT, "Source")
RULE = ("equal robustness: the PI with the best load rejection whose Ms over the range stays "
        "within {target:g}, in three digits")
GAIN_UNIT = "% of output per % of span"
WITHOUT = {
    "gain": "given as proportional_band", "proportional_band": "given as gain",
    "reset": "given as repeats, or by the parallel form", "repeats": "given as reset",
    "integral_gain": "of the parallel form alone", "derivative_gain": "of the parallel form alone",
    "full_travel": "the output's rate is not limited",
    "setpoint_full_span": "the working setpoint follows at once",
    "gap": "no band of lower gain",
}
"""Setting → why it has no value."""
SETTINGS = (
    ("form", "form", ""), ("gain", "gain", GAIN_UNIT),
    ("proportional_band", "proportional band", ""), ("reset", "reset (integral time)", ""),
    ("repeats", "reset as repeats", ""), ("derivative", "derivative time", ""),
    ("integral_gain", "integral gain", ""), ("derivative_gain", "derivative gain", ""),
    ("derivative_filter", "derivative filter N", PLAIN),
    ("setpoint_weight", "setpoint weight", PLAIN), ("output_low", "output low limit", ""),
    ("output_high", "output high limit", ""),
    ("full_travel", "output rate: shortest time 0 to 100 %", ""),
    ("setpoint_full_span", "setpoint rate: shortest time across the span", ""),
    ("gap", "gap, half width of span", ""), ("gap_gain", "gain within the gap", ""),
    ("reset_from", "external reset source", ""),
)
"""Key of a controller, its name on the sheet, its unit where the key has none."""


def tuning(known: Known) -> Sheet:
    """Controllers of the strategies, and what their margins are."""
    return sheet("tuning", "Loop tuning",
                 "Settings of every controller. Gains are percent of output per percent of span; "
                 "external reset is the base anti-windup of every loop.",
                 COLUMNS, _rows(known), "no strategy to type in")


def _rows(known: Known) -> Iterator[Mapping[str, Cell]]:
    yield from _common(known)
    for name, strategy in known.strategies():
        head = {"Strategy": name, "Loop": known.case.control.holds, "Tag": known.tag("loop")}
        yield from _controller(known, head, _first(name, strategy))
        yield from _feedforward(known, head, name, strategy)
        yield from _judged(known, head, name)
        for loop in ("mid_ranging", "cascade", "second_loop"):
            if getattr(strategy, loop):
                inner = head | {"Loop": _LOOPS[loop], "Tag": na("[tags] names the first loop")}
                yield from _controller(known, inner, ("strategies", name, loop, "controller"))


_LOOPS = {"mid_ranging": "slow loop on speed", "cascade": "inner loop",
          "second_loop": "second loop"}


def _first(name: str, strategy: Strategy) -> Path:
    return ("strategies", name, "controller") if strategy.controller else ("control", "controller")


def _common(known: Known) -> Iterator[Mapping[str, Cell]]:
    """What all strategies share: span, scan, filter."""
    head = {"Strategy": ALL, "Loop": known.case.control.holds, "Tag": known.tag("transmitter")}
    names = [(("control", "scan"), "scan"), (("control", "transmitter", "lag"), "filter (lag)")]
    if hasattr(known.case.control.span, "low"):
        names[:0] = [(("control", "span", "low"), "span, low end"),
                     (("control", "span", "high"), "span, high end")]
    for path, what in names:
        yield _line(known, head, what, path, "")
    yield head | {"Field": "output span", "Value": "0 to 100", UNIT: "%",
                  "Source": "100 % output is most flow"}


def _controller(known: Known, head: Mapping[str, Cell], at: Path) -> Iterator[Mapping[str, Cell]]:
    if value_at(known.case, at) is None:
        yield {**head, "Field": "gains", "Value": na("none were found"), UNIT: na("no number"),
               "Source": "see the report"}
        return
    for key, what, unit in SETTINGS:
        yield _line(known, head, what, (*at, key), unit)


def _line(known: Known, head: Mapping[str, Cell], what: str, path: Path, unit: str
          ) -> Mapping[str, Cell]:
    value = known.cell(path, WITHOUT.get(str(path[-1]), "not given"))
    own = value.unit if not isinstance(value, str) else ""
    said = known.where(path)
    if path[-1] in ("gain", "reset", "full_travel") and path[1] in known.sought:
        said = "sought, then rounded and judged as typed"
    return {**head, "Field": what, "Value": value, UNIT: own or unit or na("a word")
            if not isinstance(value, str) else na("no number"), "Source": said}


def _feedforward(known: Known, head: Mapping[str, Cell], name: str, strategy: Strategy
                 ) -> Iterator[Mapping[str, Cell]]:
    if not strategy.feedforward:
        yield {**head, "Field": "feedforward", "Value": na("the strategy has none"),
               UNIT: na("no number"), "Source": "scenario"}
        return
    for key, what in (("share", "feedforward from setpoint"), ("lag", "feedforward lag")):
        yield _line(known, head, what, ("strategies", name, "feedforward", key), "")


def _judged(known: Known, head: Mapping[str, Cell], name: str) -> Iterator[Mapping[str, Cell]]:
    """What was found of the loop; nothing to type."""
    loop, result = known.loops.get(name), known.results.get(name)
    facts = result.history.facts.robustness if result else None
    given = next((t for t in loop.tunings if t.name == "as given"), None) if loop else None
    rule = RULE.format(target=known.case.control.max_sensitivity)
    yield {**head, "Field": "action", "Value": loop.action if loop else na(NOT_RUN),
           UNIT: na("a word"), "Source": "reverse: the output falls as the reading rises"}
    yield {**head, "Field": "tuning rule", "Value": rule if name in known.sought else
           "as the scenario gives it", UNIT: na("words"), "Source": "scenario"}
    why = facts.why if facts and facts.why else NOT_RUN
    largest = facts.sensitivity if facts else None
    yield _found(head, "Ms, largest over the range", largest, PLAIN, why)
    for what, value, unit in (
        ("gain margin, least", given.gain_margin if given else None, PLAIN),
        ("phase margin, least", _degrees(given.phase_margin) if given else None, "°"),
        ("delay margin, least", given.delay_margin if given else None, "s"),
    ):
        yield _found(head, what, value, unit, "no such margin, or not run")
    span = ("not run" if facts is None or facts.low is None or facts.high is None else
            f"{known.held_number(facts.low)} to {known.held_number(facts.high)}")
    yield {**head, "Field": "range the margins hold for", "Value": span, UNIT: known.held_unit,
           "Source": "what all strategies of the scenario reach; small moves"}
    start = show(known.case.run.first_setpoint, known.case.control.held_kind)
    yield {**head, "Field": "model basis", "Value": "linearised plant at rest, 25 points of the "
           "range, sampled by the scan" if facts else na(NOT_RUN), UNIT: na("words"),
           "Source": f"start at {start}"}


def _degrees(angle: float | None) -> float | None:
    return None if angle is None else degrees(angle)


def _found(head: Mapping[str, Cell], what: str, value: float | None, unit: str, why: str
           ) -> Mapping[str, Cell]:
    return {**head, "Field": what, "Value": number(value, why), UNIT: unit, "Source": "computed"}
