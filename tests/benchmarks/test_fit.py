"""A fit to a recorded trend: one run of the model against one run as the front door makes it."""

import time

import pytest

from simfan import api
from simfan.fitting.fit import fit
from simfan.fitting.model import OUTPUT, Model
from simfan.fitting.numbers import usual
from simfan.fitting.record import record
from tests.benchmarks.conftest import Tell
from tests.fits import moved, recorded

pytestmark = pytest.mark.benchmark
RUNS = 20
MOST_SHARE = 0.8
"""Of a run from the front door: pace, tables and recorded inputs are prepared once."""


def test_a_run_of_the_model_costs_less_than_a_run(tell: Tell) -> None:
    case = moved("speed")
    trend = recorded(api.run(case, "speed"))
    model = Model(case, "speed", record(case, trend), usual(case, "speed"), OUTPUT)
    began = time.process_time()
    for _ in range(RUNS):
        model.run(model.before)
    one = (time.process_time() - began) / RUNS
    began = time.process_time()
    for _ in range(RUNS):
        api.run(case, "speed")
    front = (time.process_time() - began) / RUNS
    began = time.process_time()
    answer = fit(case, "speed", trend)
    tell("a run of the model in a fit, 90 s of trend", f"{1e3 * one:.0f} ms")
    tell(f"a fit of {len(answer.numbers)} numbers from three starts, {answer.evaluations} runs",
         f"{time.process_time() - began:.1f} s")
    assert one < MOST_SHARE * front
