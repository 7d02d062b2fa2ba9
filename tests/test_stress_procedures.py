"""A campaign whose case has procedures: the slower way, the same bits, named so."""

from pathlib import Path

import numpy as np
import pytest

from simfan import api
from simfan.compare import judged
from simfan.metrics import uninterrupted
from simfan.metrics.distance import distances
from simfan.report.stress_words import required
from simfan.stress.space import random_points
from simfan.stressed import Stressed
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
HEAT = """
[[protection]]
overload = "90 %"
time_constant = "20 s"
effect = "trip"
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
        assert np.array_equal(got, np.append(
            distances(history, case.criteria), uninterrupted.distances(history, one, STRATEGY)))
    assert np.unique(found, axis=0).shape[0] == 4


def test_the_progress_and_the_answer_name_the_slower_way(file: Path) -> None:
    said: list[str] = []
    answer = api.stress(api.load(file), STRATEGY, runs=12,
                        progress=lambda words, share: said.append(words))
    assert any("with procedures, slower" in words for words in said)
    assert any("procedures, which wait for the plant" in line for line in answer.findings)


def test_a_trip_and_a_start_that_fails_break_what_compare_misses(file: Path) -> None:
    """A wheel of any weight, brought up in time or not, on a motor that its heat trips or not."""
    file.write_text(STARTED.replace('speed_within = "25 s"', 'speed_within = "TIME"').replace(
        'plus_minus = "30 %"', 'uniform = ["2 kg m2", "16 kg m2"]') + HEAT, "utf-8")
    text = file.read_text("utf-8")
    kinds = set()
    for time in ("1 s", "25 s"):
        file.write_text(text.replace("TIME", time), "utf-8")
        case = api.load(file)
        many, points = runs(case), random_points(11, 0, 6, 1)
        names = [r.name for r in many.requirements]
        assert names[-2:] == ["trips", "procedures"]
        for point, got in zip(points, many(points), strict=True):
            one = many.space.case_of(many.space.values(point))
            found = judged(api.run(one, STRATEGY), case.criteria)
            missed = {m.criterion for m in found.misses}
            assert {n for n, d in zip(names, got, strict=True) if d < 0.0} == missed
            kinds.add(frozenset(missed & {"trips", "procedures"}))
    assert len(kinds) >= 3


def test_the_answer_names_them_readably(file: Path, tmp_path: Path) -> None:
    file.write_text(STARTED + HEAT, "utf-8")
    answer = api.stress(api.load(file), STRATEGY, runs=12, out=tmp_path / "out")
    asked = [v.requirement for v in answer.verdicts]
    assert [required(r, "si") for r in asked[-2:]] == ["No trip", "Procedures complete"]
    told = Stressed(answer).to_json()["requirements"]
    assert [r["name"] for r in told[-2:]] == ["trips", "procedures"]
    assert any("is a requirement of its own" in line for line in answer.findings)
