"""A duct cut into equal pieces has the natural frequencies of an open or half-closed pipe.

Closed at one end f = c/(4L), open at both f = c/(2L), and odd or whole multiples (acoustics
textbooks). 30 m at 343 m/s: 2.858 and 5.717 Hz, calculated from that. N lumped pieces with half a
piece's inertance at an open end have 2πf = 2·(cN/L)·sin(πfL/(cN)) of the pipe's own f, derived
from the wave equation on a grid.
"""

from math import pi, sin

import numpy as np
import pytest

from simfan.steady.bench import Bench
from tests.networks import pipe
from tests.published.record import checked

LENGTH, AREA, SOUND = 30.0, 2.0, 343.0
EXPECTED = [(True, 2.858), (False, 5.717)]


def frequencies(pieces: int, closed: bool) -> np.ndarray:
    """Natural frequencies of the pipe at rest, lowest first [Hz]."""
    rig = pipe(LENGTH, AREA, pieces, closed=closed, sound=SOUND)
    bench = Bench(rig)
    bench.stand(np.zeros(1))
    x = np.zeros(bench.off.end)
    x[:bench.off.flow] = rig.base.pressure[0, 0]
    still = bench.off.speed
    rates = np.linalg.eigvals(bench.jacobian(x)[:still, :still])
    return np.sort(rates.imag[rates.imag > 1.0]) / (2.0 * pi)


@pytest.mark.parametrize(("closed", "expected"), EXPECTED)
def test_the_lowest_frequency_is_that_of_the_pipe(closed: bool, expected: float) -> None:
    assert frequencies(100, closed)[0] == checked(expected, "lowest frequency [Hz]", rel=2e-4)


@pytest.mark.parametrize("closed", [True, False])
def test_overtones_are_odd_or_whole_multiples(closed: bool) -> None:
    found = frequencies(100, closed)
    multiples = (1, 3, 5) if closed else (1, 2, 3)
    assert found[:3] / found[0] == checked(multiples, "over the lowest", rel=1e-3)


@pytest.mark.parametrize("pieces", [4, 10])
@pytest.mark.parametrize(("closed", "quarters"), [(True, 1), (False, 2)])
def test_few_pieces_are_low_by_what_the_grid_makes(pieces: int, closed: bool,
                                                   quarters: int) -> None:
    f = quarters * SOUND / (4.0 * LENGTH)
    expected = SOUND * pieces / LENGTH / pi * sin(pi * f * LENGTH / (SOUND * pieces))
    assert frequencies(pieces, closed)[0] == checked(expected, "lowest frequency [Hz]", rel=1e-4)
