"""What was going on just before an event: which element moved, and what the log says."""

import numpy as np

from simfan.history import History
from simfan.metrics.columns import clock, column

LOOK_BACK_S = 5.0
"""How far back movement is looked for. Our choice; no source."""
MOVED = 0.005
"""Smallest movement that is told, of the stroke. Our choice; no source."""


def moving(history: History, at_s: float) -> str:
    """Such as "outlet damper closing"; the element that moved most in the seconds before."""
    time = clock(history)
    end = int(np.searchsorted(time, at_s, side="right")) - 1
    begin = int(np.searchsorted(time, at_s - LOOK_BACK_S))
    moves = {}
    for i, name in enumerate(history.items["element"]):
        position = column(history, "element_position", i)
        moves[name] = float(position[max(end, 0)] - position[min(begin, max(end, 0))])
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


def after(history: History, at_s: float) -> str:
    """The last line of the log before this time, or within the one sample it is told to, and
    when that was: "setpoint 36 → 27 m3/s at 180 s"."""
    sample = float(history.time[1] - history.time[0])
    lines = [f"{h.what} at {h.at_s:g} s" for h in history.log if h.at_s <= at_s + sample]
    return lines[-1] if lines else "the start of the run"
