"""The margins of a loop against the printed ones of SIMC tunings.

S. Skogestad, Simple analytic rules for model reduction and PID controller tuning, Journal of
Process Control 13 (2003) 291: largest sensitivity of PI and PID tunings on a collection of
processes, as quoted by others; each was worked out beforehand with another program, to within .011,
for the PID in series form without a filter. Three tunings of the collection did not come out there
and are left out. Dead times are exact, no Padé.
"""

from collections.abc import Callable

import numpy as np
import pytest

from simfan.loops import rules
from simfan.loops.margins import Margins, around
from simfan.loops.models import FirstOrder, Integrating, Process, SecondOrder
from simfan.plant.tuning import Series, to_series
from simfan.steady.bench import Array
from tests.published.record import checked

Transfer = Callable[[Array], Array]
TOP = 1e3
"""[rad/s]; the fastest lag of the collection is 0.028 s."""
WITHIN = 0.011
exp = np.exp

# process G(s), its integrators, (K, Ti, Td) of the series form, Ms
PRINTED: list[tuple[str, Transfer, int, Series, float]] = [
    ("e^-s/(4s+1)", lambda s: exp(-s) / (4 * s + 1), 0, Series(2, 4), 1.59),
    ("e^-s/s", lambda s: exp(-s) / s, 1, Series(0.5, 8), 1.70),
    ("e^-s/(s(4s+1))", lambda s: exp(-s) / (s * (4 * s + 1)), 1, Series(0.5, 8, 4), 1.70),
    ("e^-s/s²", lambda s: exp(-s) / s**2, 2, Series(0.0625, 8, 8), 1.96),
    ("1/((s+1)(.2s+1))", lambda s: 1 / ((s + 1) * (0.2 * s + 1)), 0, Series(5.5, 0.8), 1.56),
    *[("(−.3s+1)(.08s+1)/((2s+1)(s+1)(.4s+1)(.2s+1)(.05s+1)³)",
       lambda s: (-0.3 * s + 1) * (0.08 * s + 1) / (
           (2 * s + 1) * (s + 1) * (0.4 * s + 1) * (0.2 * s + 1) * (0.05 * s + 1) ** 3),
       0, *rest) for rest in ((Series(0.85, 2.5), 1.66), (Series(1.30, 2, 1.2), 1.73))],
    ("2(15s+1)/((20s+1)(s+1)(.1s+1)²)",
     lambda s: 2 * (15 * s + 1) / ((20 * s + 1) * (s + 1) * (0.1 * s + 1) ** 2),
     0, Series(2.33, 1.05), 1.55),
    *[("1/(s+1)⁴", lambda s: 1 / (s + 1) ** 4, 0, *rest)
      for rest in ((Series(0.3, 1.5), 1.46), (Series(0.5, 1.5, 1), 1.43))],
    *[("(.17s+1)²/(s(s+1)²(.028s+1))",
       lambda s: (0.17 * s + 1) ** 2 / (s * (s + 1) ** 2 * (0.028 * s + 1)), 1, *rest)
      for rest in ((Series(0.296, 13.5), 1.48), (Series(1.40, 2.86, 1.33), 1.23))],
    *[("(−2s+1)/(s+1)³", lambda s: (-2 * s + 1) / (s + 1) ** 3, 0, *rest)
      for rest in ((Series(0.214, 1.5), 1.66), (Series(0.3, 1.5, 1), 1.85))],
    ("1/(s(s+1)²)", lambda s: 1 / (s * (s + 1) ** 2), 1, Series(0.33, 12), 1.76),
    *[("e^-s/(s+1)²", lambda s: exp(-s) / (s + 1) ** 2, 0, *rest)
      for rest in ((Series(0.5, 1.5), 1.61), (Series(0.5, 1, 1), 1.59))],
    *[("e^-s/((20s+1)(2s+1))", lambda s: exp(-s) / ((20 * s + 1) * (2 * s + 1)), 0, *rest)
      for rest in ((Series(5.25, 16), 1.72), (Series(10, 8, 2), 1.65))],
    *[("(−s+1)e^-s/((6s+1)(2s+1)²)",
       lambda s: (-s + 1) * exp(-s) / ((6 * s + 1) * (2 * s + 1) ** 2), 0, *rest)
      for rest in ((Series(0.7, 7), 1.63), (Series(1.0, 6, 3), 1.66))],
    ("(6s+1)(3s+1)e^-.3s/((10s+1)(8s+1)(s+1))",
     lambda s: (6 * s + 1) * (3 * s + 1) * exp(-0.3 * s) / (
         (10 * s + 1) * (8 * s + 1) * (s + 1)), 0, Series(7.41, 1), 1.66),
    ("(2s+1)e^-s/((10s+1)(.5s+1))",
     lambda s: (2 * s + 1) * exp(-s) / ((10 * s + 1) * (0.5 * s + 1)), 0, Series(2.88, 4.5), 1.74),
    ("(−s+1)/s", lambda s: (-s + 1) / s, 1, Series(0.5, 8), 2.00),
    ("(−s+1)/(s+1)", lambda s: (-s + 1) / (s + 1), 0, Series(0.5, 1), 2.00),
]


def margins_of(process: Transfer, integrators: int, tuning: Series) -> Margins:
    """C = K(1 + 1/(Ti·s))(1 + Td·s) around G, continuous."""
    def loop(omega: Array) -> Array:
        s = 1j * omega
        pid = tuning.gain * (1 + 1 / (tuning.reset * s)) * (1 + tuning.derivative * s)
        return pid * process(s)

    return around(loop, TOP, 0.5 * (integrators + 1))


@pytest.mark.parametrize("row", PRINTED, ids=[f"{row[0]} {tuple(row[3])}" for row in PRINTED])
def test_largest_sensitivity_is_the_printed_one(
    row: tuple[str, Transfer, int, Series, float]) -> None:
    name, process, integrators, tuning, expected = row
    found = margins_of(process, integrators, tuning)
    assert found.stable
    told = ", ".join(f"{x:g}" for x in tuple(tuning)[: 3 if tuning.derivative else 2])
    assert found.sensitivity == checked(expected, f"{name} with {told}: Ms", abs=WITHIN)


# process, its integrators, gain margin, phase margin [°], Ms, Mt
MARGINS: list[tuple[str, Process, int, float, float, float, float]] = [
    ("first order", FirstOrder(1.0, 8.0, 1.0), 0, 3.14, 61.4, 1.59, 1.00),
    ("integrating", Integrating(1.0, 1.0), 1, 2.96, 46.9, 1.70, 1.30),
]


@pytest.mark.parametrize("row", MARGINS, ids=[row[0] for row in MARGINS])
def test_margins_at_a_closed_loop_time_of_one_dead_time(
    row: tuple[str, Process, int, float, float, float, float]) -> None:
    """Of any K, τ ≤ 8θ, θ where the process is first order, of any k', θ where it integrates."""
    kind, process, integrators, gain_margin, phase_margin, ms, mt = row
    gain, reset, _ = rules.simc_pi(process)
    found = margins_of(lambda s: process.response(s.imag), integrators, Series(gain, reset))
    assert found.gain_margin == checked(gain_margin, f"{kind}: gain margin", abs=0.005)
    assert found.phase_margin is not None
    assert np.degrees(found.phase_margin) == checked(
        phase_margin, f"{kind}: phase margin [°]", abs=0.05)
    assert found.sensitivity == checked(ms, f"{kind}: Ms", abs=0.005)
    assert found.complementary == checked(mt, f"{kind}: Mt", abs=0.005)


# process, tuning in the series form
RULE: list[tuple[str, Process, Series]] = [
    ("e^-s/(4s+1)", FirstOrder(1.0, 4.0, 1.0), Series(2.0, 4.0)),
    ("e^-s/s", Integrating(1.0, 1.0), Series(0.5, 8.0)),
    ("e^-s/(s(4s+1))", Integrating(1.0, 1.0, 4.0), Series(0.5, 8.0, 4.0)),
    ("1/((s+1)(.2s+1))", SecondOrder(1.0, 1.0, 0.2, 0.0), Series(5.5, 0.8)),
    ("e^-s/(s+1)²", SecondOrder(1.0, 1.0, 1.0, 1.0), Series(0.5, 1.5)),
    ("e^-s/(s+1)²", SecondOrder(1.0, 1.0, 1.0, 1.0), Series(0.5, 1.0, 1.0)),
    ("e^-s/((20s+1)(2s+1))", SecondOrder(1.0, 20.0, 2.0, 1.0), Series(5.25, 16.0)),
    ("e^-s/((20s+1)(2s+1))", SecondOrder(1.0, 20.0, 2.0, 1.0), Series(10.0, 8.0, 2.0)),
]


@pytest.mark.parametrize("row", RULE, ids=[f"{row[0]} {tuple(row[2])}" for row in RULE])
def test_the_rule_gives_the_printed_tuning(row: tuple[str, Process, Series]) -> None:
    """Half rule included."""
    name, process, printed = row
    rule = rules.simc_pid if printed.derivative else rules.simc_pi
    assert to_series(rule(process)) == checked(printed, f"{name}: K, Ti, Td", abs=1e-6)
