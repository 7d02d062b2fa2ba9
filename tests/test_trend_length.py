"""However long a trend is: the same numbers to the last bit, in memory that does not grow."""

import json
import tempfile
import tracemalloc
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from simfan import api
from simfan.api import Case, History, load
from simfan.errors import RunError
from simfan.metrics import columns, judge, plain
from simfan.plant.case import Criteria
from simfan.trends import reader, room
from simfan.trends.mapping import with_words
from tests import synthetic

TEN = load("scenarios/ten-lines.toml")
COLUMNS = ("time=Time", "setpoint=SP [m3/s]", "measured_value=PV [m3/s]",
           "controller_output=CO [%]", "fan_flow=Q [m3/s]", "fan_pressure=dp [Pa]",
           "volume_pressure=pv [Pa]", "electrical_power=Pel [kW]", "motor_load=ML [%]",
           "speed_ratio=n [%]", "outlet_damper=D [%]")
EVERY = Criteria(time_outside_band=20.0, overshoot=0.1, settling_time=30.0, stall_margin=0.05,
                 speed=1.1, highest_pressure=400.0, lowest_pressure=-100.0, bypass_at_start=8.0)
STEP_S = 0.1


def trend_file(path: Path, rows: int) -> Path:
    """A trend in which everything happens: steps and a ramp of the setpoint, surge, overload,
    overspeed, backflow, a motor switched off, bad samples, gaps, doubled rows, and an hour that
    comes twice."""
    random = np.random.default_rng(3)
    at = STEP_S * np.arange(rows)
    lasts = at[-1]
    wanted = np.where(at < 0.2 * lasts, 4.5, np.interp(at, [0.5 * lasts, 0.6 * lasts], [3.6, 4.2]))
    flow = wanted + random.normal(0.0, 0.02, rows)
    spell = slice(rows // 3, rows // 3 + rows // 20)
    flow[spell] = 2.4 + 2.0 * np.sin(2.0 * np.pi * at[spell] / 1.2)
    flow[rows // 2: rows // 2 + 20] = -0.5
    table = {"SP": wanted, "PV": flow, "CO": np.clip(60.0 + 50.0 * np.sin(at / 40.0), 0.0, 100.0),
             "Q": flow.copy(), "dp": 2500.0 + random.normal(0.0, 20.0, rows),
             "pv": 300.0 + random.normal(0.0, 40.0, rows), "Pel": np.full(rows, 14.0),
             "ML": 60.0 + 50.0 * (at > 0.9 * lasts), "n": 100.0 + 15.0 * (at > 0.95 * lasts),
             "D": 60.0 + 20.0 * np.sin(at / 30.0)}
    table["Pel"][rows // 4: rows // 4 + 60] = 0.0
    for name in ("PV", "Q", "Pel", "ML"):
        table[name][random.random(rows) < 0.02] = np.nan
    table["Q"][3 * rows // 5: 3 * rows // 5 + 40] = np.nan
    clock = np.datetime64("2025-10-26T02:58:00") + np.round(1000.0 * at).astype("timedelta64[ms]")
    clock = np.where(at < 120.0, clock, clock - np.timedelta64(1, "h"))
    stay = np.ones(rows, dtype=bool)
    stay[2 * rows // 3: 2 * rows // 3 + 50] = False
    lines = [",".join((str(clock[k]).replace("T", " "), *(_cell(values[k])
             for values in table.values()))) for k in np.flatnonzero(stay)]
    lines[100:100] = lines[99:100]
    path.write_text("\n".join((",".join(("Time", *table)), *lines)) + "\n")
    return path


def _cell(value: float) -> str:
    return "" if np.isnan(value) else f"{value:.6g}"


def case_of(zone: str | None = None) -> Case:
    said = with_words(None, COLUMNS, (), zone=zone)
    return TEN.model_copy(update={"trend": said, "criteria": EVERY})


def in_blocks(patch: pytest.MonkeyPatch, lines: int, rows: int, samples: int) -> None:
    """Nothing longer than a block stays in memory, and blocks are of these lengths."""
    patch.setattr(reader, "BLOCK", lines)
    patch.setattr(room, "BLOCK", rows)
    patch.setattr(room, "IN_MEMORY", rows)
    patch.setattr(columns, "BLOCK", samples)


def told(case: Case, file: Path, begin: float | None = None) -> str:
    found = api.judge(case, file, "damper", begin=begin, simulate=False)
    sums = {name: np.nansum(values) for name, values in found.recorded.history.traces.items()}
    return json.dumps(found.to_json(), indent=1) + repr(sums)


@pytest.mark.parametrize("zone", [None, "Europe/Oslo"])
def test_a_trend_in_blocks_of_odd_lengths_is_judged_as_one_that_is_whole_in_memory(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch, zone: str | None) -> None:
    file, case = trend_file(tmp_path / "trend.csv", 4000), case_of(zone)
    in_blocks(monkeypatch, 10**6, 10**6, 10**6)
    whole, part = told(case, file), told(case, file, 100.0)
    for lengths in ((4001, 977, 613), (613, 331, 1009), (97, 41, 29)):
        in_blocks(monkeypatch, *lengths)
        assert told(case, file) == whole, lengths
        assert told(case, file, 100.0) == part, lengths


def test_everything_happens_in_the_trend_that_is_compared(tmp_path: Path) -> None:
    """Or the comparison above would not see what it compares."""
    found = api.judge(case_of(), trend_file(tmp_path / "trend.csv", 4000), "damper", simulate=False)
    excursions = found.recorded.measures.excursions
    assert {event.kind for event in excursions.events} == {
        "left of the peak", "surge", "reverse flow", "motor overload", "overspeed",
        "controller at limit"}
    assert {apart.when for apart in judge(runs()["switched off"], EVERY).excursions.apart} == {
        "while the motor was off", "during a start or a stop"}
    assert len(found.recorded.measures.tracking.changes) >= 2
    assert len({gap.signal for gap in found.trend.gaps}) > 1
    notes = " ".join(found.notes)
    for said in ("an hour comes twice", "rows are there twice", "missing or bad", "stretches"):
        assert said in notes, said


@cache
def runs() -> dict[str, History]:
    surging = synthetic.history(surge=(200.0, 240.0))
    power = surging.traces["electrical_power"].copy()
    power[1000:1500] = 0.0
    return {"calm": synthetic.history(), "surging": surging,
            "switched off": replace(surging, traces={**surging.traces, "electrical_power": power})}


@pytest.mark.parametrize("name", ["calm", "surging", "switched off"])
@pytest.mark.parametrize("length", [1, 29, 997])
def test_a_run_in_blocks_of_odd_lengths_is_judged_as_a_whole(
        monkeypatch: pytest.MonkeyPatch, name: str, length: int) -> None:
    history = runs()[name]
    history = history.rows(slice(0, 600)) if length == 1 else history
    found = []
    for samples in (10**6, length):
        monkeypatch.setattr(columns, "BLOCK", samples)
        found.append(repr(plain(judge(history, EVERY))))
    assert found[0] == found[1]


RANDOM = np.random.default_rng(1)


@pytest.mark.parametrize("values", [
    np.abs(RANDOM.normal(size=4001)), RANDOM.integers(0, 3, 5000), np.full(1000, 0.1),
    np.round(RANDOM.random(777), 2), np.array([2.5]), np.array([3.0, 1.0]),
    np.array([0.0, 1e-300, 1e300, 5e-324]),
], ids=["any", "few", "one", "rounded", "single", "pair", "far apart"])
def test_the_median_of_blocks_is_that_of_all_numbers(values: np.ndarray) -> None:
    """Against numpy's, to the last bit."""
    values = values.astype(float)
    assert room.median(lambda: np.array_split(values, 13)) == np.median(values)


def test_there_is_no_median_of_nothing() -> None:
    assert np.isnan(room.median(lambda: [np.empty(0)]))


def test_a_long_column_is_in_a_file_that_nobody_sees_and_is_read_only(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    values = np.random.default_rng(5).random((room.IN_MEMORY + 1, 2))
    kept = room.kept(room.parts(values))
    assert np.array_equal(kept, values)
    assert not kept.flags.writeable
    assert not list(tmp_path.iterdir())
    assert room.kept(room.parts(values[:-1])).flags.writeable


def test_memory_does_not_grow_with_the_trend(tmp_path: Path, monkeypatch: pytest.MonkeyPatch
                                             ) -> None:
    """Of numpy and Python, once all is loaded: one column kept in memory would cost 8 bytes a row.
    """
    in_blocks(monkeypatch, 1000, 1000, 1000)
    case, peaks = case_of(), []
    for rows in (2000, 5000, 20_000):
        file = trend_file(tmp_path / f"{rows}.csv", rows)
        tracemalloc.start()
        api.judge(case, file, "damper", simulate=False)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[2] - peaks[1] < 8 * 15_000


def test_a_disk_without_room_is_told_in_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch
                                                   ) -> None:
    """The system itself refuses: no file of this process may grow beyond 64 kB."""
    resource = pytest.importorskip("resource")
    in_blocks(monkeypatch, 1000, 1000, 1000)
    file = trend_file(tmp_path / "trend.csv", 10_000)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (65536, limits[1]))
    try:
        with pytest.raises(RunError, match=r"no room for a long trend in the folder.*TMPDIR"):
            api.read_trend(case_of(), file, "damper")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
