"""What was going on just before an event: which element moved, and what the log says."""

import numpy as np

from simfan.metrics.columns import Run

LOOK_BACK_S = 5.0
"""How far back movement is looked for. Our choice; no source."""
MOVED = 0.005
"""Smallest movement that is told, of the stroke. Our choice; no source."""


def moving(run: Run, at_s: float) -> str:
    """Such as "outlet damper closing"; the element that moved most in the seconds before."""
    end = max(int(np.searchsorted(run.time, at_s, side="right")) - 1, 0)
    begin = min(int(np.searchsorted(run.time, at_s - LOOK_BACK_S)), end)
    first, last = (run.rows(slice(k, k + 1)).traces["element_position"][0] for k in (begin, end))
    moves = {name: float(last[i] - first[i]) for i, name in enumerate(run.items["element"])}
    if not moves or max(map(abs, moves.values())) < MOVED:
        return "nothing"
    name = max(moves, key=lambda n: abs(moves[n]))
    return f"{words(name)} {direction(name, moves[name])}"


def words(name: str) -> str:
    """An element's name as people say it."""
    return name.replace("_", " ").replace("-", " ")


def direction(name: str, move: float) -> str:
    """Dampers and vanes open and close; speed rises and falls."""
    if "speed" in name:
        return "rising" if move > 0.0 else "falling"
    return "opening" if move > 0.0 else "closing"


def after(run: Run, at_s: float) -> str:
    """The last line of the log before this time, or within the one sample it is told to, and
    when that was: "setpoint 36 → 27 m3/s at 180 s"."""
    by = at_s + float(run.time[1] - run.time[0])
    line = next((h for h in reversed(run.log) if h.at_s <= by), None)
    return "the start of the run" if line is None else f"{line.what} at {line.at_s:g} s"
