"""One plain sentence for one run."""

from simfan.metrics.misses import Miss, cause, figure, instant, lasting
from simfan.metrics.results import Excursions, Measures, Surge

LONGEST = 3
"""Clauses in a sentence; the rest is counted."""


def verdict(
    measures: Measures | None, missed: tuple[Miss, ...], findings: tuple[str, ...],
    stopped: str | None, beyond: str = "",
) -> str:  # fmt: skip
    """What decides, first: stopped on its numbers, surge, setpoints out of reach, other misses.

    `beyond` is told whatever else is: why a run is worse than its tuning promises.
    """
    against = [f"stopped on its numbers: {stopped}"] if stopped else []
    surging = surge_words(measures.excursions) if measures else ""
    is_missed = any(m.criterion == "surge_cycles" for m in missed)
    if surging and is_missed:
        against.append(surging)
    against += [*findings, *(m.words for m in missed if m.criterion != "surge_cycles")]
    if against:
        said = _joined(against + ([surging] if surging and not is_missed else []))
    else:
        said = _joined(["meets the criteria", *_worth_knowing(measures, surging)])
    return f"{said}; {beyond}" if beyond else said


def surge_words(found: Excursions) -> str:
    """Such as "surging for 28 s (27 cycles, 251 s to 279 s) after setpoint 36 → 27 m3/s at 220 s,
    outlet damper closing"."""
    surges = [e for e in found.events if isinstance(e, Surge)]
    if not surges:
        return ""
    first, last = surges[0], max(surges, key=lambda e: e.end_s)
    start, end = figure(instant(first.start_s)), figure(instant(last.end_s))
    cycles = "1 cycle" if found.surge_cycles == 1 else f"{found.surge_cycles} cycles"
    spells = f" in {len(surges)} spells, the first" if len(surges) > 1 else ""
    return (f"surging for {lasting(sum(e.duration_s for e in surges))} "
            f"({cycles}, {start} s to {end} s){spells} {cause(first)}")  # fmt: skip


def _worth_knowing(measures: Measures | None, surging: str) -> list[str]:
    if measures is None:
        return []
    found, words = measures.excursions, [surging] if surging else []
    if found.lowest_stall_margin_percent is not None:
        words.append(f"lowest stall margin {figure(found.lowest_stall_margin_percent)} %")
    if found.time_left_of_peak_s and not surging:
        line = "peak" if "peak" in found.stall_basis else "stall line"
        words.append(
            f"left of the {line} for {figure(instant(found.time_left_of_peak_s))} s without surging"
        )
    return words


def _joined(clauses: list[str]) -> str:
    told, more = clauses[:LONGEST], len(clauses) - LONGEST
    return "; ".join(told) + (f"; and {more} more" if more > 0 else "")
