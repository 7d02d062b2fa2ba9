"""Tuning rules at one process, K 1, τ 5 s, θ 1 s, and under scaling.

Formulas of Ziegler and Nichols, Cohen and Coon, and lambda from textbooks; AMIGO from Åström &
Hägglund, Advanced PID Control (2006); all from memory. SIMC from Skogestad, J. Process Control 13
(2003) 291. Figures worked out beforehand with another program. Wrong copies of AMIGO and of
Cohen–Coon are common: any rule must scale with gain and time, and these do. The split of two
legs after Reyes-Lúa, Zotică & Skogestad 2019, from memory.
"""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simfan.errors import RunError
from simfan.loops import rules
from simfan.loops.models import FirstOrder, Integrating, Process, SecondOrder, Ultimate
from simfan.plant.tuning import Standard
from tests.published.record import checked

PLANT = FirstOrder(1.0, 5.0, 1.0)
NOT_INTEGRATING = {"lambda PI", "Cohen–Coon PI"}

# rule → Kc, Ti [s], Td [s]
AT_THE_PLANT = {
    "Ziegler–Nichols PI": (4.5, 3.33333, 0.0),
    "Cohen–Coon PI": (4.58333, 2.35385, 0.0),
    "AMIGO PI": (1.20556, 3.88261, 0.0),
    "AMIGO PID": (2.45, 2.93333, 0.47170),
    "SIMC PI": (2.5, 5.0, 0.0),
    "lambda PI": (1.25, 5.0, 0.0),
}


@pytest.mark.parametrize("rule", AT_THE_PLANT)
def test_rule_at_a_lag_of_five_dead_times(rule: str) -> None:
    assert rules.FROM_PROCESS[rule](PLANT) == checked(
        AT_THE_PLANT[rule], "Kc, Ti, Td", abs=5e-6)


def test_from_the_ultimate_gain_of_three_equal_lags() -> None:
    """1/(s+1)³: Ku 8, Pu 2π/√3. Ziegler–Nichols .45 Ku, Pu/1.2; .6 Ku, Pu/2, Pu/8."""
    swings = Ultimate(8.0, 3.6276)
    assert rules.ultimate_pi(swings) == checked((3.6, 3.023, 0.0), "PI: Kc, Ti, Td", abs=5e-5)
    assert rules.ultimate_pid(swings) == checked(
        (4.8, 1.8138, 0.45345), "PID: Kc, Ti, Td", abs=5e-6)


GAINS = st.floats(0.1, 10.0) | st.floats(-10.0, -0.1)
TIMES, DEAD = st.floats(0.1, 100.0), st.floats(0.05, 50.0)
FACTORS, TIMES_LONGER = st.floats(0.1, 10.0) | st.floats(-10.0, -0.1), st.floats(0.05, 20.0)


@st.composite
def processes(draw: st.DrawFn) -> Process:
    """Of every kind, with a dead time."""
    k, dead, lags = draw(GAINS), draw(DEAD), sorted([draw(TIMES), draw(TIMES)])
    kinds: list[Process] = [
        FirstOrder(k, lags[1], dead), SecondOrder(k, lags[1], lags[0], dead),
        Integrating(k, dead), Integrating(k, dead, lags[0])]
    return draw(st.sampled_from(kinds))


def scaled(process: Process, gain: float, slower: float) -> Process:
    """b·K, a·τ, a·θ; b·k'/a where it integrates."""
    if isinstance(process, FirstOrder):
        return FirstOrder(gain * process.gain, slower * process.lag, slower * process.dead_time)
    if isinstance(process, SecondOrder):
        return SecondOrder(gain * process.gain, slower * process.lag, slower * process.second_lag,
                           slower * process.dead_time)
    return Integrating(gain / slower * process.gain, slower * process.dead_time,
                       slower * process.second_lag)


def tuned(rule: Callable[[Process], Standard], process: Process) -> Standard | None:
    """None where the rule refuses the process."""
    try:
        return rule(process)
    except RunError:
        return None


@pytest.mark.parametrize("rule", rules.FROM_PROCESS)
@given(processes(), FACTORS, TIMES_LONGER)
def test_a_rule_scales_with_gain_and_time(rule: str, process: Process, gain: float,
                                          slower: float) -> None:
    """tune(b·K, a·τ, a·θ) = (Kc/b, a·Ti, a·Td), whichever of the two is refused."""
    one = tuned(rules.FROM_PROCESS[rule], process)
    other = tuned(rules.FROM_PROCESS[rule], scaled(process, gain, slower))
    if one is None or other is None:
        assert one is other
        return
    assert other == checked((one.gain / gain, slower * one.reset, slower * one.derivative),
                            rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("rule", rules.FROM_ULTIMATE)
@given(GAINS, TIMES, FACTORS, TIMES_LONGER)
def test_a_rule_of_the_ultimate_gain_scales_too(rule: str, gain: float, period: float,
                                                factor: float, slower: float) -> None:
    tune = rules.FROM_ULTIMATE[rule]
    one, other = tune(Ultimate(gain, period)), tune(Ultimate(gain / factor, slower * period))
    assert other == checked((one.gain / factor, slower * one.reset, slower * one.derivative),
                            rel=1e-9)


@pytest.mark.parametrize("rule", sorted(set(rules.FROM_PROCESS) - NOT_INTEGRATING))
def test_a_very_slow_lag_is_as_good_as_an_integrator(rule: str) -> None:
    """K/τ = k', τ → ∞: the two formulas of a rule meet, to the digits that the second prints."""
    pid = rule == "SIMC PID"
    slow = SecondOrder(1e9, 1e9, 2.0, 1.0) if pid else FirstOrder(1e9, 1e9, 1.0)
    tune = rules.FROM_PROCESS[rule]
    assert tune(slow) == checked(tune(Integrating(1.0, 1.0, 2.0 if pid else 0.0)),
                                 "Kc, Ti, Td", rel=0.0501 / 13.4)


# of the process, or of the controllers, each the inverse of its leg's; split [%]
SPLITS = [("1.2 and .6", (1.2, 0.6), 66.67),
          ("inverse of 1.9048 and 6.2500", (1 / 1.9048, 1 / 6.2500), 76.64)]


@pytest.mark.parametrize("row", SPLITS, ids=[row[0] for row in SPLITS])
def test_where_two_legs_look_alike(row: tuple[str, tuple[float, float], float]) -> None:
    name, gains, expected = row
    assert 100.0 * rules.split_point(*gains) == checked(
        expected, f"gains {name}: split [%]", abs=0.005)


def test_legs_that_pull_against_each_other_have_no_split() -> None:
    with pytest.raises(RunError, match=r"legs' gains are 1\.2 and -0\.6"):
        rules.split_point(1.2, -0.6)


def test_a_rule_for_another_process_is_refused() -> None:
    """Lambda and Cohen–Coon need a process that comes to rest; all but SIMC and lambda, a dead
    time; SIMC PID, a second lag."""
    for rule in NOT_INTEGRATING:
        with pytest.raises(RunError, match="integrates"):
            rules.FROM_PROCESS[rule](Integrating(1.0, 1.0))
    for tune in rules.FROM_PROCESS.values():
        with pytest.raises(RunError, match=r"dead time|second lag"):
            tune(FirstOrder(1.0, 5.0, 0.0))
    with pytest.raises(RunError, match="second lag"):
        rules.simc_pid(PLANT)
    assert rules.lambda_pi(FirstOrder(1.0, 5.0, 0.0), 2.0) == checked(
        (2.5, 5.0, 0.0), "lambda without a dead time: Kc, Ti, Td")
