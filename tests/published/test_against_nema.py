"""Inertia that a motor may start on the line.

Source: NEMA MG 1, table of the load inertia that squirrel-cage motors may accelerate (published);
the formula behind it from memory. The table is printed to three or four digits and stands for
synchronous speeds.
"""

from math import pi

import pytest

from simfan.plant.drive import inertia_limit
from tests.published.record import checked

HORSEPOWER, LB_FT2 = 745.69987, 0.04214011
"""[W], [kg·m²]; unit definitions."""

TABLE = [
    # hp, rpm, lb·ft²
    (100, 3600, 92.0), (100, 1800, 441.0), (100, 1200, 1180.0), (100, 900, 2370.0),
    (250, 1800, 1020.0), (500, 1800, 1880.0), (350, 1200, 3720.0),
]


@pytest.mark.parametrize(("hp", "rpm", "expected_lb_ft2"), TABLE)
def test_the_table_of_inertias(hp: float, rpm: float, expected_lb_ft2: float) -> None:
    """The formula gives the printed table within .4 %, which is how it was rounded."""
    limit = inertia_limit(hp * HORSEPOWER, rpm * pi / 30.0)
    assert limit == checked(expected_lb_ft2 * LB_FT2, "inertia [kg m²]", rel=4e-3)


def test_a_motor_for_the_other_grid_is_judged_by_its_own_speed() -> None:
    """Between the rows of a table for 60 Hz: 1500 rpm lies between 1200 and 1800."""
    slow, between, fast = (inertia_limit(100 * HORSEPOWER, rpm * pi / 30.0)
                           for rpm in (1200, 1500, 1800))
    assert slow > between > fast
