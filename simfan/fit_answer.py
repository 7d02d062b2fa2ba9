"""What a fit to a recorded trend found. SI; knows nothing of how it was found."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np

from simfan.shown import Shown

Array = np.ndarray

CONFIDENCE = 0.95
"""Of every interval."""
TOO_FAR = 1.5
"""Residuals beyond so many times the noise are not explained by noise. An assumption."""
ALIKE = 0.9
"""|Correlation| from which on two numbers are said to trade off. An assumption."""


@dataclass(frozen=True)
class FittedNumber:
    """One plant number, as the scenario has it and as the trend has it. SI."""

    path: str
    """Where it stands in the scenario, such as "ductwork.volume"."""
    label: str
    """In the trade's words."""
    kind: str | None
    """Kind of its unit; None for a plain number."""
    before: float
    """The scenario's [SI]."""
    estimate: float
    """The trend's; the scenario's where it was left [SI]."""
    low: float | None
    """Lower end of the 95 % interval [SI]; None where it was left or ended on a bound."""
    high: float | None
    """Its upper end [SI]."""
    fitted: bool
    """Whether the trend could tell it."""
    shows: float
    """How much the compared samples move for a change of 10 % (of the fan's highest pressure, for
    a pressure that may be zero): root of the sum of squares, in units of noise [1]."""
    why: str | None = None
    """Why it was left, or why there is no interval."""
    at_bound: bool = False
    """Whether the estimate lies on a bound of the search."""
    in_file: float | None = None
    """What the scenario would be given at `path` [SI]: of the resistance the design pressure, the
    fixed pressure in it."""


@dataclass(frozen=True)
class SignalFit:
    """One signal of the trend beside the model's. SI."""

    name: str
    """As the trend has it: of the glossary, "volume_pressure" or "element_position of …"."""
    kind: str
    """Kind of its unit."""
    noise: float
    """Standard deviation, from the trend itself [SI]."""
    noise_from: str
    """"neighbouring samples", "its resolution" or "assumed"."""
    before: float
    """Root mean square of what the scenario's numbers leave, over the noise [1]."""
    left: float
    """Root mean square of what the fitted numbers leave, over the noise [1]."""
    memory: float
    """Samples for which a residual is like its neighbours: sum of the autocorrelation [1]."""
    time: Array
    """(n,) of the compared samples [s]."""
    measured: Array
    """(n,) [SI]."""
    modelled_before: Array
    """(n,) with the scenario's numbers [SI]."""
    modelled: Array
    """(n,) with the fitted numbers [SI]."""
    correlation: Array
    """Autocorrelation of the residuals from lag 0 [1]."""

    @property
    def samples(self) -> int:
        """That were compared."""
        return int(self.time.size)

    @property
    def worth(self) -> float:
        """Samples that know nothing of one another with as much to say: n over `memory`."""
        return self.samples / self.memory

    @property
    def residual(self) -> Array:
        """(n,) measured − modelled, over the noise [1]."""
        return np.asarray((self.measured - self.modelled) / self.noise)

    @property
    def explained(self) -> bool:
        """Whether noise accounts for what is left."""
        return self.left <= TOO_FAR


@dataclass(frozen=True)
class Search:
    """One start of the least-squares search."""

    left: float
    """Root mean square residual at its end, over the noise [1]."""
    converged: bool
    """Whether it ended on a minimum."""
    why: str
    """Why it ended."""


@dataclass(frozen=True, repr=False)
class FitAnswer(Shown):
    """Plant numbers from a recorded trend. SI."""

    title: str
    """The scenario's title."""
    strategy: str
    """The strategy's name."""
    method: str
    """The trade's word for what moves."""
    held_kind: str
    """Kind of unit of setpoint and measured value."""
    driven_by: str
    """"controller output" or "setpoint": what of the trend the model was given."""
    duration: float
    """Of the trend [s]."""
    interval: float
    """Median interval of its samples [s]."""
    numbers: tuple[FittedNumber, ...]
    """Fitted ones and those left."""
    correlation: Array
    """(p, p) of the estimates, in the order of the fitted numbers [1]."""
    collinearity: float | None
    """1/√λ of the smallest eigenvalue of the normalised sensitivities' products [1]: 1 where every
    number shows in its own way; None for fewer than two. Brun, Reichert and Künsch (2001)."""
    signals: tuple[SignalFit, ...]
    """What was compared."""
    searches: tuple[Search, ...]
    """Every start; the first is the one whose result stands."""
    evaluations: int
    """Runs of the model [1]."""
    findings: tuple[str, ...]
    """Worth knowing."""
    assumed: tuple[str, ...]
    """On what it rests."""
    file: str | None = None
    """The scenario's."""
    fingerprint: str | None = None
    """Of its content."""
    trend: str | None = None
    """The trend's file."""

    @property
    def fitted(self) -> tuple[FittedNumber, ...]:
        """Numbers that the trend could tell."""
        return tuple(n for n in self.numbers if n.fitted)

    @property
    def left_alone(self) -> tuple[FittedNumber, ...]:
        """Numbers that it could not."""
        return tuple(n for n in self.numbers if not n.fitted)

    @property
    def converged(self) -> bool:
        """Whether the search ended on a minimum; with nothing to fit there is nothing to end."""
        return all(s.converged for s in self.searches[:1])

    @property
    def explained(self) -> bool:
        """Whether noise accounts for what the model leaves, in every signal."""
        return all(s.explained for s in self.signals)

    @property
    def left(self) -> float:
        """Root mean square residual of all signals, over their noise [1]."""
        n = sum(s.samples for s in self.signals)
        return sqrt(sum(s.samples * s.left**2 for s in self.signals) / n)

    @property
    def pairs(self) -> tuple[tuple[str, str, float], ...]:
        """(label, label, correlation) of numbers that trade off, the closest first."""
        names = [n.label for n in self.fitted]
        found = [(names[i], names[j], float(self.correlation[i, j]))
                 for i in range(len(names)) for j in range(i)
                 if abs(self.correlation[i, j]) >= ALIKE]
        return tuple(sorted(found, key=lambda pair: -abs(pair[2])))

    @property
    def changed(self) -> Mapping[str, float]:
        """Path → new value [SI] of what a scenario would be given."""
        return {n.path: n.in_file for n in self.numbers if n.in_file is not None}
