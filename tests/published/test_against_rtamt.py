"""Signed distances against an independent implementation of temporal-logic robustness.

Expected values are of rtamt 0.4.10 (Ničković & Yamaguchi 2020), run once beside this project:
`StlDenseTimeSpecification`, the formula as it stands in the table, its robustness at t = 0. rtamt
holds a sample until the next one, here the line between two samples counts, so windows begin and
end at samples, where both agree. The traces were made by hand: an answer to a step that swings, one
that creeps, and Q/Q_stall of a fan that goes left of its stall line and comes back.
"""

import re
from collections.abc import Callable

import numpy as np
import pytest

from simfan.metrics.distance import always, eventually, settles
from tests.published.record import checked

Array = np.ndarray
TIME = np.array([0, 1, 2, 3, 4, 5, 6.5, 8, 10, 12, 15, 18, 20, 24, 30, 36, 40, 48, 60])
TRACES = {
    "swings": np.array([0.0, 0.057, 0.206, 0.413, 0.646, 0.873, 1.154, 1.323, 1.365, 1.252, 1.002,
                        0.867, 0.872, 0.988, 1.043, 0.984, 0.986, 1.007, 0.999]),
    "creeps": np.array([0.0, 0.154, 0.283, 0.393, 0.487, 0.565, 0.662, 0.736, 0.811, 0.865, 0.918,
                        0.95, 0.964, 0.982, 0.993, 0.998, 0.999, 1.0, 1.0]),
    "stalls": np.array([1.6, 1.607, 1.518, 1.351, 1.162, 1.011, 0.895, 0.829, 0.727, 0.797, 1.011,
                        1.025, 1.105, 0.942, 0.904, 0.94, 1.026, 0.937, 0.966]),
}

RTAMT = [
    ("always (0.1 - (x - 1.0) >= 0)", {"swings": -0.265, "creeps": 0.1}),
    ("always (0.4 - (x - 1.0) >= 0)", {"swings": 0.035, "creeps": 0.4}),
    ("always[10,60] (0.05 - abs(x - 1.0) >= 0)", {"swings": -0.315, "creeps": -0.139}),
    ("always[20,60] (0.05 - abs(x - 1.0) >= 0)", {"swings": -0.078, "creeps": 0.014}),
    ("always[36,60] (0.05 - abs(x - 1.0) >= 0)", {"swings": 0.034, "creeps": 0.048}),
    ("eventually[0,5] (x - 0.9 >= 0)", {"swings": -0.027, "creeps": -0.335}),
    ("eventually[0,10] (x - 0.9 >= 0)", {"swings": 0.465, "creeps": -0.089}),
    ("eventually[0,10] (x - 1.5 >= 0)", {"swings": -0.135, "creeps": -0.689}),
    ("always (x*0.9 - 1.0 >= 0)", {"stalls": -0.3457}),
    ("always (x*0.95 - 1.0 >= 0)", {"stalls": -0.30935}),
    ("eventually[0,12] (1.0 - x >= 0)", {"stalls": 0.273}),
    ("always[30,60] (x - 0.97 >= 0)", {"stalls": -0.066}),
]


def ours(formula: str) -> Callable[[Array], float]:
    """The same formula by the functions of the project: what stands before the first bracket names
    the function, the sum within it is g."""
    found = re.fullmatch(r"(always|eventually)(?:\[(\d+),(\d+)\])? \((.*) >= 0\)", formula)
    assert found
    word, since, until, g = found.groups()

    def value(x: Array) -> float:
        signal = eval(g, {"x": x, "abs": np.abs})
        if word == "eventually":
            assert since == "0"
            return eventually(TIME, signal, float(until))
        return settles(TIME, signal, float(since)) if since else always(signal)

    return value


@pytest.mark.parametrize(("formula", "trace", "robustness"), [
    (formula, trace, value) for formula, values in RTAMT for trace, value in values.items()])
def test_distances_are_the_robustness_of_temporal_logic(formula: str, trace: str,
                                                        robustness: float) -> None:
    got = ours(formula)(TRACES[trace])
    assert got == checked(robustness, "robustness [1]", abs=1e-12)
