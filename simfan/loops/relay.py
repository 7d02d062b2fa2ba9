"""A relay test on the simulated plant: the output switched on the reading, at the scans.

It runs in manual from rest, in the kernel, through the strategy's own actuators, transmitter, noise
and scans.
"""

from itertools import pairwise
from math import asin, degrees, pi, radians

import numpy as np

from simfan.errors import RunError
from simfan.experiment_answer import Record, RelayTest
from simfan.loops import identify
from simfan.loops.experiment import noisy, where
from simfan.loops.margins import ultimate
from simfan.loops.models import Ultimate
from simfan.loops.moves import chosen_size
from simfan.loops.rig import Rig, rig
from simfan.plant.case import Case

PERIODS = 10
"""Of the linear plant's own swing, for which the test runs at first."""
LONGER = 4
"""Times as long where that shows too few swings."""
SCANS = 14
"""A swing shall take so many scans: the band is chosen wide enough for it."""
NOISE_BAND = 3.0
"""Half the hysteresis chosen, over the noise's standard deviation. Common practice, no source."""
QUIET_SCANS = 60
"""At rest, in which the noise is seen."""
SHORT_OF = radians(-170.0)
"""A swing at a phase above it is told."""
EVEN = 0.1
"""Difference of the last two swings, of their mean, above which the test is called uneven."""
ASSUMED = (
    "each element stands in the middle of its play at the start",
    "the swing is taken for a sine: on a lag with dead time the gain comes out 11 to 17 % low",
)


class Relay:
    """Up while the reading is low, down while it is high; in between as it was."""

    def __init__(self, middle: float, move: float, centre: float, band: float, sign: float) -> None:
        self.middle, self.move, self.centre, self.band = middle, move, centre, band
        self.side = self.sign = sign

    def __call__(self, time: float, reading: float) -> float:
        """The output of this scan [1]."""
        if reading > self.centre + self.band:
            self.side = -self.sign
        elif reading < self.centre - self.band:
            self.side = self.sign
        return self.middle + self.side * self.move


def relay_test(case: Case, name: str, held: float, size: float | None = None,
               hysteresis: float | None = None, drift: float = 0.0, noise: float | None = None
               ) -> RelayTest:
    """The output switched by ±`size` [1] whenever the reading leaves a band of ±`hysteresis` [held
    unit] round the held value.

    Unless told, the band is three times the noise, and wide enough for a swing of fourteen scans.
    Raises RunError as `bump_test`, and where the loop does not come to an even swing.
    """
    stand = rig(noisy(case, noise), name, held)
    move, findings = chosen_size(stand, size)
    linear = _foretold(stand)
    slow = 0.0 if linear and linear.period >= SCANS * case.control.scan else _slowing(stand, move)
    band = max(NOISE_BAND * _noise_seen(stand), slow) if hysteresis is None else hysteresis
    periods = [linear.period if linear else 0.0, SCANS * case.control.scan]
    record, found = _swung(stand, move, band, PERIODS * max(periods), drift)
    swings = _swings(record)
    swing = float(swings.mean())
    phase = asin(min(band / swing, 1.0)) - pi
    return RelayTest(
        **where(stand), size=move, record=record, hysteresis=band, swing=swing, phase=phase,
        findings=(*findings, *_said(stand, swings, phase, linear)),
        ultimate_gain=float(found.gain), ultimate_period=float(found.period),
        linear_gain=linear.gain if linear else None,
        linear_period=linear.period if linear else None, assumed=ASSUMED)


def _slowing(stand: Rig, move: float) -> float:
    """The band ε with which the linear plant swings in so many scans: −1/N(a) of a relay lies on
    the line Im = −πε/(4d), so ε = (4d/π)·|Im G(jω)| [held unit]. Åström & Hägglund (2006); from
    memory."""
    scan = stand.case.control.scan
    turned = stand.linear.sampled(np.array([2.0 * pi / (SCANS * scan)]), scan)[0]
    return float(4.0 * move / pi * abs(turned.imag) * stand.width)


def _noise_seen(stand: Rig) -> float:
    """Standard deviation of the reading at rest [held unit]."""
    if stand.case.control.transmitter.noise == 0.0:
        return 0.0
    seconds = QUIET_SCANS * stand.case.control.scan
    return float(stand.run(seconds, lambda time, reading: stand.output).reading.std())


def _foretold(stand: Rig) -> Ultimate | None:
    """Where the linear plant would swing, as the scans see it."""
    scan = stand.case.control.scan
    try:
        return ultimate(lambda w: stand.sign * stand.linear.sampled(w, scan), pi / scan)
    except RunError:
        return None


def _swung(stand: Rig, move: float, band: float, seconds: float, drift: float
           ) -> tuple[Record, Ultimate]:
    """The record and what it tells; once more and longer where it is too short."""
    times = 1
    while True:
        relay = Relay(stand.output, move, stand.rest.held, band, stand.sign)
        record = stand.run(times * seconds, relay, drift)
        try:
            return record, identify.relay(record.time, record.reading / stand.width, record.output,
                                          band / stand.width)
        except RunError as why:
            if times == LONGER:
                raise RunError(f"{stand.name}: {why}") from None
            times = LONGER


def _swings(record: Record) -> np.ndarray:
    """Half the swing of the reading in each of the last whole periods [held unit]."""
    middle = 0.5 * (record.output.max() + record.output.min())
    up = np.flatnonzero((record.output[:-1] < middle) & (record.output[1:] >= middle)) + 1
    up = up[-identify.LEAST_SWINGS - 1:]
    return np.array([0.5 * np.ptp(record.reading[i:j]) for i, j in pairwise(up)])


def _said(stand: Rig, swings: np.ndarray, phase: float, linear: Ultimate | None) -> list[str]:
    said, scan = [], stand.case.control.scan
    uneven = float(np.ptp(swings) / swings.mean())
    if uneven > EVEN:
        said.append(f"the last {swings.size} swings differ by {100.0 * uneven:.2g} %: noise, drift "
                    "or a swing that still grows; take a larger move or a wider band")
    if phase > SHORT_OF:
        said.append(f"with this band the swing is one of {degrees(phase):.0f} degrees, not of -180:"
                    " gain and period are of that point, further from the limit of stability than "
                    "an ultimate gain and period")
    if linear and linear.period < SCANS * scan:
        said.append(f"without a band the loop would swing in some {linear.period / scan:.2g} scans "
                    f"of {scan:.3g} s, too few to tell a period; a faster scan shows more")
    return said
