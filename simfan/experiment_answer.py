"""What an experiment on a simulated plant showed: records, fitted models, swings. SI; knows nothing
of how it was found."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Record:
    """What a recorder at the loop saw, once a scan."""

    time: np.ndarray
    """(n,) [s]."""
    reading: np.ndarray
    """(n,) of the transmitter [held unit]."""
    output: np.ndarray
    """(n,) of the controller, from the same scan [1]."""
    position: np.ndarray
    """(n, n_elements) of the elements [1]; a drive's as a share of rated speed."""


@dataclass(frozen=True)
class PlantModel:
    """First or second order with dead time, gain on spans."""

    gain: float
    """K, percent of span per percent of output [1]."""
    lag: float
    """τ₁ [s]."""
    second_lag: float | None
    """τ₂ [s]; None for a first order."""
    dead_time: float
    """θ [s]."""


@dataclass(frozen=True)
class FittedModel:
    """A model fitted to a record by least squares."""

    model: PlantModel
    half_width: Mapping[str, float]
    """Name in the model → half the width of its 95 % band [in the unit of the name]."""
    left: float
    """Root of the mean square of what the model leaves [share of span]."""
    curve: np.ndarray
    """(n,) the model's reading at the samples, drift put back [held unit]."""
    band: np.ndarray
    """(n,) half the width of its 95 % band [held unit]."""


@dataclass(frozen=True)
class LoopTest:
    """What every test on a loop in manual tells."""

    title: str
    strategy: str
    method: str
    holds: str
    held_kind: str
    span: tuple[float, float]
    """Low and high end of the transmitter's span [held unit]."""
    scan: float
    """[s]."""
    held: float
    """Held value at which the test began, at rest [held unit]."""
    output: float
    """Controller output there [1]."""
    elements: tuple[str, ...]
    """Names of the record's columns of positions."""
    size: float
    """The output is moved by so much to either side [1]."""
    record: Record
    findings: tuple[str, ...]
    assumed: tuple[str, ...] = field(default=(), kw_only=True)
    """What the test rests on."""
    file: str | None = field(default=None, kw_only=True)
    fingerprint: str | None = field(default=None, kw_only=True)


@dataclass(frozen=True)
class BumpTest(LoopTest):
    """A two-way bump test: up, back, down, back."""

    hold: float
    """Each output is held for so long [s]."""
    linear: PlantModel
    """Of the plant's slopes at the starting point, at its knee; what the fits are held against."""
    fits: tuple[FittedModel, ...]
    """First order, then second order where one could be fitted."""
    gain_up: float
    """Of the move up alone [% of span per % of output]."""
    gain_down: float
    """Of the move down alone [% of span per % of output]."""
    drift: float
    """Of the reading, taken out before the fit [held unit/s]."""
    dead_band: float
    """Output lost between moves up and moves down, as the readings at rest show it [1]."""
    noise: float
    """Standard deviation of the reading before the first move [share of span]."""
    moved: Mapping[str, float]
    """Element → how far it moved, of how far it was told to [1]."""


@dataclass(frozen=True)
class RelayTest(LoopTest):
    """A relay test: the output is switched whenever the reading passes the starting value."""

    hysteresis: float
    """Half the band round the starting value in which the relay does not switch [held unit]."""
    swing: float
    """Half the swing of the reading, mean of the periods counted [held unit]."""
    ultimate_gain: float
    """Ku as the describing function of the relay gives it [% of output per % of span]."""
    ultimate_period: float
    """Pu, the mean period [s]."""
    phase: float
    """Of the process at that period: −π without a band, else asin(ε/a) − π [rad]."""
    linear_gain: float | None
    """Ku of the plant's slopes at the starting point, as the scans see it [% of output per % of
    span]; None where no gain makes it swing."""
    linear_period: float | None
    """Pu of the same [s]."""


@dataclass(frozen=True)
class LimitCycle:
    """What stick and play of one element make a loop do about one point."""

    strategy: str
    element: str
    held: float
    """[held unit]."""
    resolution: float
    """Stick: the smallest movement [1]."""
    backlash: float
    """The whole play [1]."""
    swings: bool = False
    """Whether a swing is foretold that keeps itself up."""
    period: float | None = None
    """Of the swing [s]; None without one."""
    swing: float | None = None
    """Of the reading, from peak to peak [held unit]."""
    travel: float | None = None
    """Of the element, from end to end [1]."""
    sine_period: float | None = None
    """By the describing function, which takes what comes back for a sine [s]; None where it
    foretells no swing."""
    sine_swing: float | None = None
    """By the describing function, from peak to peak [held unit]."""
