"""The inner step and the record interval, from the plant's own time constants."""

from contextlib import suppress
from dataclasses import dataclass
from math import ceil, pi

import numpy as np

from simfan.assemble import Assembled
from simfan.steady.balance import NoBalance, Rest, hold, settle
from simfan.steady.bench import Bench

SHARE_OF_SWING = 0.30
"""Step times angular frequency of the fastest swing: RK4's phase error is then below 1e-4 a
radian."""
SHARE_OF_DECAY = 0.80
"""Step over the fastest decay time; RK4 is stable to 2.78 and within 0.3 % a step here."""
RECORDS_PER_SWING = 20
"""Recorded samples in the fastest period, so that no surge is aliased."""


@dataclass(frozen=True)
class Pace:
    """How finely a run goes."""

    step: float
    record: float
    fastest: float
    """Time constant 1/|λ| of the fastest state [s]."""


def pace(assembled: Assembled, scan: float, values: list[float], step: float | None,
         record: float | None) -> Pace:
    """Step and record interval [s]: what the user gave, else whole parts of the scan.

    `values` are the wanted values of the run [m³/s].
    """
    decay, swing = _fastest(assembled, values)
    fastest = 1.0 / max(decay, swing, 1e-6)
    if record is None:
        if step is not None:
            n = round(scan / step)
            wanted = max(1, ceil(scan * RECORDS_PER_SWING * swing / (2.0 * pi)))
            parts = next(k for k in range(1, n + 1) if n % k == 0 and k >= min(wanted, n))
        else:
            parts = max(1, ceil(scan * RECORDS_PER_SWING * swing / (2.0 * pi)))
        record = scan / parts
    if step is None:
        longest = min(SHARE_OF_DECAY / max(decay, 1e-6), SHARE_OF_SWING / max(swing, 1e-6), record)
        step = record / ceil(record / longest - 1e-9)
    return Pace(step, record, fastest)


def _fastest(assembled: Assembled, values: list[float]) -> tuple[float, float]:
    """Fastest decay and fastest angular frequency [1/s] over the range of the run and in surge.

    Looked for at the steady points of the wanted values and of several outputs and, left of them,
    on the stalled side and in reverse flow at the same pressures. A damper nearer shut than that is
    stiffer still; the kernel raises its branch's inertance there and counts the steps.
    """
    bench = Bench(assembled, lagged=True)
    rates = []
    for point in _points(assembled, values):
        for share in (1.0, 0.6, 0.3, 0.0, -0.2):
            x = point.x.copy()
            x[bench.off.flow:bench.off.speed] *= share
            bench.stand(point.outputs)
            rates.append(np.linalg.eigvals(bench.jacobian(x)))
    if not rates:
        raise NoBalance("no steady flow at any controller output")
    eigenvalues = np.concatenate(rates)
    swing = max(float(np.max(np.abs(eigenvalues[eigenvalues.imag != 0.0]), initial=0.0)),
                helmholtz(assembled))
    return float(np.max(-eigenvalues.real)), swing


def _points(assembled: Assembled, values: list[float]) -> list[Rest]:
    """Steady points to look at; a setting without one is passed over."""
    found = []
    for search, arguments in ((hold, values), (settle, (0.25, 0.5, 0.75, 1.0))):
        for argument in arguments:
            with suppress(NoBalance):
                found.append(search(assembled, argument))
    return [point for point in found if point.reached]


def helmholtz(assembled: Assembled) -> float:
    """ω_H = c·√(A/(VL)) of the first volume and the first inert branch [rad/s]."""
    gas, net = assembled.plant.gas, assembled.plant.network
    c2 = gas.gamma * gas.R * assembled.base.temperature[0, 0]
    return float(np.sqrt(c2 / (net.volume[0] * net.inertance[0])))
