"""Vanes and box damper: elements before the wheel that give it pre-spin and a loss.

With φ = Q/(n·Q_d), α = min(κθ, 80°), a = ℓ + (1 − ℓ)·cos θ, θ counted from open:
wheel part Δp/p_d = r·n²·[f(φ) − s·φ·tan α], P/P_d = r·n³·[g(φ) − η_d·s·φ²·tan α];
loss part, before the wheel, Δp/p_d = r·n²·ζ·φ·|φ|·(1/a² − 1).

Euler's pre-swirl plus a loss on the contracted area; the numbers are calibrated on published
bands of power against flow. An engineering model: below half flow it is optimistic.
"""

from collections.abc import Iterator
from typing import Annotated, Self

from pydantic import model_validator

from simfan.errors import Problem
from simfan.plant.devices import Actuator
from simfan.plant.family import MeasuredCurve, family_amiss
from simfan.plant.quantities import Limits, Plain, refuse

Swirl = Annotated[float, Plain(Limits(least=0.0, most=2.0))]
Turn = Annotated[float, Plain(Limits(least=0.0, most=1.0))]
Loss = Annotated[float, Plain(Limits(least=0.0, most=10.0))]
Leakage = Annotated[float, Plain(Limits(least=1e-3, most=0.5))]

MODEL = ("swirl", "turn", "loss", "leakage")
"""Numbers of the model, which a measured family replaces."""


class InletElement(Actuator):
    """What stands before the wheel and turns the gas."""

    swirl: Swirl
    turn: Turn
    loss: Loss
    leakage: Leakage
    family: tuple[MeasuredCurve, ...] | None = None
    """Measured curves in place of the model, by rising opening: three at least, the last at
    100 %. Default: none, the model stands; an engineering model, calibrated on published bands of
    power against flow, optimistic below half flow."""
    family_file: str | None = None
    """The same in a file of comma-separated values, named from the folder of the scenario."""

    @model_validator(mode="after")
    def _valid_family(self) -> Self:
        refuse(self._family_amiss())
        return self

    def idle(self) -> tuple[str, ...]:
        """The model, where there are measured curves."""
        return MODEL if self.family is not None else ()

    def _family_amiss(self) -> Iterator[Problem]:
        if self.family is None:
            if self.family_file is not None:
                yield Problem(("family_file",), "a file that was not read", "family, the curves",
                              "only a scenario file may name a file of curves")
            return
        for name in MODEL:
            if name in self.model_fields_set:
                yield Problem((name,), f"{getattr(self, name):g}",
                              "no such key beside measured curves",
                              "the curves stand for all of it")
        for problem in family_amiss(self.family):
            yield Problem(("family", *problem.path), problem.got, problem.allowed, problem.hint)


class InletVanes(InletElement):
    """Variable inlet vanes."""

    swirl: Swirl = 0.40
    """s, pre-spin. Default: calibrated on published bands of power against flow; an engineering
    model."""
    turn: Turn = 0.75
    """κ, angle of the gas over angle of the vanes. Default: calibrated on published bands of
    power against flow; an engineering model."""
    loss: Loss = 0.30
    """ζ of the contracted area. Default: calibrated on published bands of power against flow; an
    engineering model."""
    leakage: Leakage = 0.04
    """ℓ, open area when shut. Default: an engineering model; from memory."""


class InletBoxDamper(InletElement):
    """A louvre in the inlet box: less pre-spin than vanes."""

    swirl: Swirl = 0.40
    """s, pre-spin. Default: calibrated on published bands of power against flow; an engineering
    model."""
    turn: Turn = 0.55
    """κ, angle of the gas over angle of the blades. Default: calibrated on published bands of
    power against flow; an engineering model."""
    loss: Loss = 0.20
    """ζ of the contracted area. Default: calibrated on published bands of power against flow; an
    engineering model."""
    leakage: Leakage = 0.06
    """ℓ, open area when shut. Default: an engineering model; from memory."""
