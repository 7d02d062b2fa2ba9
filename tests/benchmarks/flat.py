"""The kernel's right-hand side as a compiled function that odeint can call cheaply.

Called with the plant's some forty arrays it would spend ten times its own work on unpacking them.
So the plant is a constant of the compiled function, all that changes lies in one vector, and the
text of the function, which cuts that vector up, is written from the layout.
"""

from typing import Any

import numba
import numpy as np
from scipy.integrate import odeint

from simfan.kernel import advance, entry, layout
from simfan.kernel.layout import Plant, Schedule, State
from tests.reference import Reference

compiled = numba.njit(error_model="numpy")
free_of_counts = numba.njit(error_model="numpy", _nrt=False)

CUT_UP = """
    state = layout.State({state})
    coef = layout.Coefficients({coef})
    probe = layout.Probe({probe})
    slope = memory[{slope}]
    position = memory[{position}]
"""
SLOPES = f"""
def slopes(x, t, memory, {{others}}):{CUT_UP}
    derivative(t, x, plant, schedule, state, slope, coef, probe, position)
    return slope
"""
NEXT_SCAN = f"""
def next_scan(x, t, memory, {{others}}):{CUT_UP}
    derivative(t, x, plant, schedule, state, slope, coef, probe, position)
    state.moving[:] = x
    {{positions}} = position
    state.counts[layout.TICK] += plant.scan_steps
"""
DECIDE = f"""
def decide(memory, {{others}}):{CUT_UP}
    scan(plant, schedule, state, slope, coef, probe)
"""


class Flat:
    """A plant, its schedule and a copy of a state for odeint, from scan to scan.

    `allowed` is the absolute tolerance of each state.
    """

    def __init__(self, plant: Plant, schedule: Schedule, state: State) -> None:
        self.span = plant.scan_steps * plant.step
        self.allowed = np.ones_like(state.moving)
        self._pieces: list[np.ndarray] = []
        self._others: dict[str, np.ndarray] = {}
        self._records: dict[str, np.dtype] = {}
        words = self._words(state, layout.new_coefficients(plant),
                            layout.new_probe(plant))
        self.memory = np.concatenate(self._pieces)
        self.moving = self.memory[:state.moving.size]
        self.others = tuple(self._others.values())
        known = {"plant": plant, "schedule": schedule, "layout": layout,
                 "derivative": free_of_counts(entry.slopes_between_scans.py_func),
                 "scan": entry.scan, **self._records}
        for text in (SLOPES, NEXT_SCAN, DECIDE):
            exec(text.format(**words), known)
        self.slopes, self.next_scan, self.decide = (
            compiled(known[name]) for name in ("slopes", "next_scan", "decide"))

    def _words(self, state: State, coef: Any, probe: Any) -> dict[str, str]:
        """Where everything lies, as text."""
        places = [f"state.{name}[:]" for name in ("stem", "position") if name in state._fields]
        return {"state": self._columns(state), "coef": self._columns(coef),
                "probe": self._columns(probe), "slope": self._piece(np.zeros_like(state.moving)),
                "position": self._piece(state.position), "others": ", ".join(self._others),
                "positions": " = ".join(places)}

    def _columns(self, table: Any) -> str:
        """Every field of a table: a piece of the vector, or an argument of its own."""
        words = []
        for name, array in table._asdict().items():
            if not _is_plain(array):
                self._others[name] = array.copy()
                words.append(name)
            elif array.dtype.names:
                kind = f"record_{len(self._records)}"
                self._records[kind] = np.dtype(array.dtype.descr)
                words.append(f"memory[{self._piece(array)}].view({kind})")
            else:
                words.append(f"memory[{self._piece(array)}]")
        return ", ".join(words)

    def _piece(self, array: np.ndarray) -> str:
        begins = sum(piece.size for piece in self._pieces)
        self._pieces.append(_numbers(array).copy())
        return f"{begins}:{begins + self._pieces[-1].size}"

    def one_scan(self) -> None:
        """Decide, integrate to the next scan, leave the state there."""
        self.decide(self.memory, *self.others)
        path = odeint(self.slopes, self.moving, (0.0, self.span), args=(self.memory, *self.others),
                      rtol=0.0, atol=self.allowed)
        self.next_scan(path[-1], self.span, self.memory, *self.others)

    def through(self, start: State, n_scans: int) -> None:
        """That many scans from a state."""
        self.put(start)
        for _ in range(n_scans):
            self.one_scan()

    def put(self, state: State) -> None:
        """Take over the numbers of another state of the same plant."""
        begins = 0
        for name, array in state._asdict().items():
            if name in self._others:
                self._others[name][...] = array
            else:
                piece = _numbers(array)
                self.memory[begins:begins + piece.size] = piece
                begins += piece.size


def _is_plain(array: np.ndarray) -> bool:
    """One row of floats, or of records of floats."""
    fields = [array.dtype[name] for name in array.dtype.names or ()] or [array.dtype]
    return array.ndim == 1 and all(field == np.float64 for field in fields)


def _numbers(array: np.ndarray) -> np.ndarray:
    """The same memory as plain floats."""
    return array.view(np.ndarray).view(np.float64)


def by_arguments(reference: Reference, n_scans: int, allowed: np.ndarray) -> None:
    """The same in the plain way: the compiled slopes get the plant's arrays as arguments."""

    def solve(_: Reference, span: float, x0: np.ndarray) -> np.ndarray:
        path = odeint(lambda x, t: reference.derivative(t, x), x0, (0.0, span), rtol=0.0,
                      atol=allowed)
        return np.asarray(path[-1])

    for _ in range(n_scans):
        reference.one_scan(solve)


def windows(plant: Plant, schedule: Schedule, start: State, n_scans: int, per_window: int,
            ) -> tuple[np.ndarray, np.ndarray, list[State]]:
    """States at every scan by the kernel and by the reference, and the kernel's full states.

    The reference is restarted from the kernel's own state at the beginning of every window.
    """
    state, traces = layout.copy(start), layout.traces(plant)
    ours, theirs, whole = [], [], [layout.copy(state)]
    for scan in range(n_scans):
        if scan % per_window == 0:
            reference = Reference(plant, schedule, layout.copy(state))
        advance.advance(plant, schedule, state, traces, (scan + 1) * plant.scan_steps)
        ours.append(state.moving.copy())
        theirs.append(reference.one_scan().copy())
        whole.append(layout.copy(state))
    return np.array(ours), np.array(theirs), whole
