"""A campaign whose case has procedures: the slower way, the same bits, named so."""

from pathlib import Path

import numpy as np
import pytest

from simfan import api
from simfan.metrics.distance import distances
from simfan.stress.space import random_points
from tests.campaigns import PLANT, STRATEGY
from tests.test_stress_runs import runs

TIMELINE = 'timeline = [{ at = "30 s"'
STARTED = PLANT.replace('starts_at = "4.5 m3/s"', 'starts_at = "standstill", '
                            'setpoint = "4.5 m3/s"').replace(
    TIMELINE, 'timeline = [{ at = "1 s", procedure = "start" }, { at = "30 s"') + """
[procedures.start]
speed_within = "25 s"
setpoint = "4.5 m3/s"
[criteria]
stall_margin = "5 %"
[stress]
runs = 12
seed = 3
vary = [{ of = "fan.inertia", plus_minus = "30 %" }]
"""


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr("simfan.stress.sensitivity.LEAST", 2)
    monkeypatch.setattr("simfan.stress.campaign.Campaign._ramp", lambda self: None)
    path = tmp_path / "started.toml"
    path.write_text(STARTED, "utf-8")
    return path


def test_a_run_with_procedures_is_the_plain_run_of_its_case_on_any_threads(file: Path) -> None:
    case = api.load(file)
    many, points = runs(case, threads=2), random_points(11, 0, 4, 1)
    found = many(points)
    for point, got in zip(points, found, strict=True):
        one = many.space.case_of(many.space.values(point))
        history = api.run(one, STRATEGY)
        assert history.facts.procedures[0].outcome == "complete"
        assert np.array_equal(got, distances(history, case.criteria))
    assert np.unique(found, axis=0).shape[0] == 4


def test_the_progress_and_the_answer_name_the_slower_way(file: Path) -> None:
    said: list[str] = []
    answer = api.stress(api.load(file), STRATEGY, runs=12,
                        progress=lambda words, share: said.append(words))
    assert any("with procedures, slower" in words for words in said)
    assert any("procedures, which wait for the plant" in line for line in answer.findings)
