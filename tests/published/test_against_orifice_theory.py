"""What an isolation or a check damper lets through, against the jet through an opening in a duct.

Weisbach's contraction of the jet through an orifice in a duct against the open share of the area
(measured 1855, as textbooks of hydraulics print it; from memory): the area of the jet over that of
the orifice. The loss is Borda and Carnot's of the jet that spreads again, (1/(C·a) − 1)².
"""

from math import inf

import numpy as np
import pytest

from simfan.assemble import assemble
from simfan.kernel import entry, layout
from tests.plants import plain
from tests.published.record import checked

CONTRACTION = [(0.1, 0.624), (0.2, 0.632), (0.3, 0.643), (0.4, 0.659), (0.5, 0.681), (0.6, 0.712),
               (0.7, 0.755), (0.8, 0.813), (0.9, 0.892), (1.0, 1.0)]


def loss_at(opening: float, leakage: float, open_loss: float = 0.0) -> float:
    """ζ that the plant puts into the fan's branch, from its coefficient ζ/(2A²)."""
    area = 3.0
    damper = {"stroke_time": 10.0, "area": area, "leakage": leakage, "open_loss": open_loss}
    case = plain(ductwork={"discharge": {"length": 20.0, "area": 4.0}, "volume": 600.0,
                           "isolation_damper": damper})
    assembled = assemble(case, "speed", 0.0125, 0.25)
    plant = assembled.plant
    coef, probe = layout.new_coefficients(plant), layout.new_probe(plant)
    coef.shutter[:] = opening
    cond = layout.Conditions(*[column[0] for column in assembled.base])
    entry.stand(plant, cond, np.ones(1), coef, probe)
    place = int(np.flatnonzero(plant.network.element.kind == layout.SHUTTER)[0])
    return float(coef.quadratic[place]) * 2.0 * area**2


@pytest.mark.parametrize(("share", "contraction"), CONTRACTION)
def test_the_loss_is_that_of_the_contracted_jet(share: float, contraction: float) -> None:
    """The fit of the contraction is good to 1.5 %, so the jet's loss to about twice that."""
    got = 1.0 / (1.0 + np.sqrt(loss_at((share - 1e-5) / (1.0 - 1e-5), 1e-5))) / share
    assert got == checked(contraction, "contraction [1]", rel=0.015)


def test_wide_open_only_the_open_loss_is_left() -> None:
    assert loss_at(1.0, 0.005, 0.3) == checked(0.3, "ζ wide open [1]", rel=1e-12)


def test_a_tight_damper_takes_more_the_tighter_it_is() -> None:
    """ζ ∝ 1/ℓ² as the leakage goes to zero: ten times tighter, a hundred times the loss."""
    before = inf
    for leakage in (0.1, 0.01, 0.001, 0.0001):
        now = loss_at(0.0, leakage)
        assert now > 1.0 and (before == inf or now > 50.0 * before)
        before = now
    ratio = loss_at(0.0, 1e-4) / loss_at(0.0, 1e-3)
    assert ratio == checked(100.0, "ratio of losses [1]", rel=0.01)
