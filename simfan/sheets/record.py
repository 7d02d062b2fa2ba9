"""The test record: what was run, by which numbers it was judged, and what came out."""

from collections.abc import Callable, Iterator, Mapping

from simfan.compare import StrategyResult
from simfan.metrics import Measures
from simfan.metrics.distance import requirements
from simfan.sheets.known import ALL, NOT_RUN, Known, number
from simfan.sheets.sheet import PLAIN, UNIT, Cell, Sheet, na, sheet
from simfan.sheets.typed import rounded
from simfan.stress_answer import Requirement, StressAnswer, Verdict

COLUMNS = ("Strategy", "Test", "Criterion", "Allowed", "Got", UNIT, "Result", "Runs", "Confidence",
           "Seed", "Run fingerprint")
SIGN = "______________"
ONE = na("one run is no sample")
CAME_OUT = {"complete": "met", "under way": "not over at the end of the run"}
"""Outcome of a procedure → result; any other is missed."""
NAMED = {"procedures": "procedures that fail"}
"""Requirement → its name, where that alone could be misread."""
PROCEDURES = ("start", "stop", "restart")
"""Those of which a run tells what came of them."""
ROOM_OF = {"settling_time": "of the settling band's half width, from that time on",
           "stall_margin": "of the flow at the stall line",
           "surge_cycles": "of the flow at the stall line"}
"""Criterion → what its room is a share of, where that is not its limit."""


def room_of(name: str, limit: float) -> str:
    """What the room to a limit is a share of; a limit of nothing has no size."""
    return ROOM_OF.get(name, "of the limit" if limit else "on its own scale")


def record(known: Known) -> Sheet:
    """Every criterion of every strategy, for the run and for the search."""
    return sheet("record", "Test record",
                 "What was run with the numbers of these sheets, and how it was judged. A run is "
                 "known by a fingerprint of all its samples. The last lines are for a person.",
                 COLUMNS, _rows(known), "nothing was run")


def _rows(known: Known) -> Iterator[Mapping[str, Cell]]:
    yield from _identity(known)
    for name in known.names:
        if result := known.results.get(name):
            yield from _run(known, result)
            yield from _procedures(known, result)
        if answer := known.stress.get(name):
            yield from _search(known, name, answer)
    for what in ("signed by", "date"):
        yield {**_NOTHING, "Strategy": ALL, "Test": "signature", "Criterion": what, "Got": SIGN}


_NOTHING: Mapping[str, Cell] = dict.fromkeys(COLUMNS, "n/a")


def _identity(known: Known) -> Iterator[Mapping[str, Cell]]:
    """What was run."""
    note = known.note
    for what, said in (
        ("scenario", (note.file if note else None) or na("not from a file")),
        ("scenario fingerprint", (note.fingerprint if note else None) or na("not from a file")),
        ("version of simfan", known.version or na(NOT_RUN)),
    ):
        yield {**_NOTHING, "Strategy": ALL, "Test": "identity", "Criterion": what, "Got": said}


def _frame(known: Known, name: str) -> dict[str, Cell]:
    return {"Strategy": name, "Run fingerprint": known.fingerprints.get(name, na(NOT_RUN))}


def _run(known: Known, result: StrategyResult) -> Iterator[Mapping[str, Cell]]:
    frame = {**_frame(known, result.name), "Test": "the scenario's timeline", "Runs": "1",
             "Confidence": ONE, "Seed": str(known.case.run.seed)}
    asked = requirements(result.criteria, result.history.facts.max_safe_speed_ratio)
    missed = {m.criterion: m for m in result.misses}
    for one in asked:
        got = GOT[one.name](result.measures) if result.measures else None
        yield {**frame, "Criterion": _said(one), "Allowed": rounded(one.limit),
               UNIT: one.unit or PLAIN, "Got": number(got, "nothing to judge in this run"),
               "Result": "missed" if one.name in missed else
               "met" if result.measures else na("the run stopped")}
    yield {**frame, "Criterion": "all of it", "Allowed": na("a verdict"), "Got": result.verdict,
           UNIT: na("words"), "Result": "met" if result.meets_criteria else "missed"}


def _procedures(known: Known, result: StrategyResult) -> Iterator[Mapping[str, Cell]]:
    """What came of each procedure; one that no run came to was not tested."""
    frame = {**_frame(known, result.name), "Test": "the scenario's timeline", "Runs": "1",
             "Confidence": ONE, "Seed": str(known.case.run.seed), UNIT: na("words")}
    begun = result.history.facts.procedures
    for one in begun:
        yield {**frame, "Criterion": f"{one.name} at {one.begun_s:g} s", "Allowed": "complete",
               "Got": ": ".join(filter(None, (one.outcome, one.why))),
               "Result": CAME_OUT.get(one.outcome, "missed")}
    for name in PROCEDURES:
        if name in known.case.procedure_steps and name not in {one.name for one in begun}:
            yield {**frame, "Criterion": name, "Allowed": "complete",
                   "Got": na("never begun in this run"), "Result": "not tested"}


def _search(known: Known, name: str, answer: StressAnswer) -> Iterator[Mapping[str, Cell]]:
    frame = {**_frame(known, name), "Test": "runs laid out, and the search for the worst",
             "Seed": str(answer.seed), "Run fingerprint": na("many runs"),
             "Runs": str(answer.runs)}
    for verdict in answer.verdicts:
        yield {**frame, **_verdict(verdict)}


def _verdict(found: Verdict) -> dict[str, Cell]:
    one = found.requirement
    room = rounded(100.0 * found.worst.distance, digits=3)
    kept = found.worst.distance >= 0.0 and not found.failures
    return {"Criterion": _said(one), "Allowed": rounded(one.limit), UNIT: one.unit or PLAIN,
            "Got": f"{found.failures} of {found.fresh} laid out failed; room of the worst run "
                   f"{room} % {room_of(one.name, one.limit)}",
            "Result": "met" if kept else "missed", "Confidence": found.statement}


def _said(one: Requirement) -> str:
    return f"{NAMED.get(one.name, one.name.replace('_', ' '))}, at {one.at}"


def _changes(measures: Measures, name: str) -> float | None:
    values = [getattr(c, name) for c in measures.tracking.changes]
    known = [v for v in values if v is not None]
    return max(known) if known else None


GOT: Mapping[str, Callable[[Measures], float | None]] = {
    "time_outside_band": lambda m: m.tracking.whole.time_outside_band_s,
    "overshoot": lambda m: _changes(m, "overshoot_percent"),
    "settling_time": lambda m: _changes(m, "settling_time_s"),
    "stall_margin": lambda m: m.excursions.lowest_stall_margin_percent,
    "surge_cycles": lambda m: m.excursions.surge_cycles,
    "motor_load": lambda m: m.excursions.highest_motor_load_percent,
    "speed": lambda m: m.excursions.highest_speed_percent,
    "highest_pressure": lambda m: m.excursions.highest_pressure_pa,
    "lowest_pressure": lambda m: m.excursions.lowest_pressure_pa,
}
"""Criterion → the measured number that it is held against, in the unit of the requirement."""
