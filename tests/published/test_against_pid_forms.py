"""The three forms of a PID are one controller.

Source of the pairs: conversion formulas of textbooks on PID control (from memory), values
calculated from them by hand.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from simfan.plant import tuning
from simfan.plant.control import Controller
from simfan.plant.quantities import FROM_FILE
from simfan.plant.tuning import Parallel, Series, Standard
from tests.published.record import checked

PAIRS = [
    # series, standard
    (Series(2.0, 10.0, 2.0), Standard(2.4, 12.0, 1.6667)),
    (Series(10.0, 8.0, 2.0), Standard(12.5, 10.0, 1.6)),
]


@pytest.mark.parametrize(("series", "standard"), PAIRS)
def test_series_and_standard(series: Series, standard: Standard) -> None:
    """There and back, to the printed digits."""
    assert tuning.from_series(series) == checked(standard, "Kc, Ti, Td", abs=5e-5)
    assert tuning.to_series(tuning.from_series(series)) == checked(series, "and back", abs=1e-9)


def test_a_standard_tuning_with_too_much_derivative_has_no_series_form() -> None:
    """Ti 10 s, Td 3 s: its zeros are complex. At Ti = 4·Td they are just real."""
    with pytest.raises(ValueError, match="reset of 10 s is less than four times the derivative"):
        tuning.to_series(Standard(1.0, 10.0, 3.0))
    assert tuning.to_series(Standard(1.0, 12.0, 3.0)) == checked(
        (0.5, 6.0, 6.0), "K, Ti, Td in series")


def test_one_tuning_in_the_words_of_four_makers() -> None:
    """K 2.5, Ti 30 s, Td 4 s = band 40 %, 2 repeats a minute, Ki .083333/s, Kd 10 s."""
    expected = Standard(2.5, 30.0, 4.0)
    assert tuning.to_parallel(expected) == checked(
        Parallel(2.5, 0.083333, 10.0), "Kp, Ki, Kd", abs=5e-7)
    for written in (
        {"gain": 2.5, "reset": "30 s", "derivative": "4 s"},
        {"proportional_band": "40 %", "repeats": "2 repeats/min", "derivative": "4 s"},
        {"proportional_band": "40 %", "reset": "0.5 min", "derivative": "4 s"},
        {"form": "parallel", "gain": 2.5, "integral_gain": "5 1/min", "derivative_gain": "10 s"},
    ):
        controller = Controller.model_validate(written, context=FROM_FILE)
        assert controller.standard == checked(expected, "Kc, Ti, Td", rel=1e-9)


def test_a_series_controller_is_run_as_its_standard_form() -> None:
    """The first of the pairs, as a file has it."""
    controller = Controller.model_validate(
        {"form": "series", "gain": 2.0, "reset": "10 s", "derivative": "2 s"}, context=FROM_FILE)
    assert controller.standard == checked((2.4, 12.0, 1.6667), "Kc, Ti, Td", abs=5e-5)


def test_a_controller_takes_the_keys_of_its_form_only() -> None:
    """Each refused with the key at fault."""
    for written, key in (({"form": "parallel", "gain": 1.0, "reset": 9.0}, "integral_gain"),
                         ({"form": "series", "gain": 1.0, "integral_gain": 0.1}, "reset")):
        with pytest.raises(ValidationError, match=f"{key}: got nothing"):
            Controller.model_validate(written)


GAINS, TIMES = st.floats(0.01, 100.0), st.floats(0.1, 1000.0)


@given(GAINS, TIMES, st.floats(0.0, 0.25))
def test_every_tuning_that_has_the_other_forms_comes_back_from_them(
    gain: float, reset: float, share: float
) -> None:
    """Td up to a quarter of Ti. At the quarter a double root costs half of the digits."""
    standard = Standard(gain, reset, share * reset)
    for there, back in ((tuning.to_series, tuning.from_series),
                        (tuning.to_parallel, tuning.from_parallel)):
        assert back(there(standard)) == checked(standard, rel=1e-7)
