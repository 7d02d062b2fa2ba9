"""A real campaign that is stopped, killed, or has its disk filled; and goes on."""

import json
import re
import signal
import sqlite3
from pathlib import Path

import numpy as np
import pytest

from simfan import api
from simfan.stress.campaign_plan import about
from simfan.stress.runs import Runs
from simfan.stress.space import Space, random_points
from simfan.stress.store import NAME, Store
from tests.campaigns import INPUTS, SCENARIO, SEED, STRATEGY, Program

SOME = 6
"""Runs that were made before it is stopped."""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "stressed.toml"
    path.write_text(SCENARIO, "utf-8")
    return path


def kept(folder: Path) -> list[tuple[int, bytes, bytes]]:
    """(place, point, distances) of the runs on disk, in the order they came."""
    base = sqlite3.connect(folder / NAME)
    rows = base.execute("select rowid, point, distances from run order by rowid").fetchall()
    assert base.execute("pragma integrity_check").fetchone() == ("ok",)
    base.close()
    return rows


def test_ctrl_c_ends_with_what_is_done_and_progress_is_told_before(
        file: Path, tmp_path: Path) -> None:
    """With runs that were there already, read at 80 columns."""
    out = tmp_path / "out"
    case = api.load(file)
    space = Space(case, STRATEGY)
    store = Store(out, about(space, STRATEGY))
    Runs(case, STRATEGY, space, store)(random_points(SEED, 0, 4, INPUTS))
    store.close()
    program = Program("stress", file, "--strategy", STRATEGY, "--out", out, columns=80)
    program.until(lambda _: program.runs() >= SOME)
    told = program.runs()
    program.process.send_signal(signal.SIGINT)
    code, words = program.ended()
    assert code == 130
    assert "ended early: stopped by you; this is what was done by then" in words
    assert "Traceback" not in program.told and "Exception ignored" not in program.told
    assert len(kept(out)) >= told
    answer = json.loads((out / "stress.json").read_text("utf-8"))
    assert answer["stopped_early"] == "stopped by you" and answer["runs"] == len(kept(out))
    assert (out / "stress.html").exists()
    looks(program.told)


def looks(told: str) -> None:
    """The line of progress fits, and tells runs, failures, rate, time and part."""
    lines = [part.strip() for part in re.split(r"[\r\n]+", told)]
    assert max(map(len, lines)) < 80
    shape = re.compile(r"damper: (\d+) runs \(4 before\), (\d+) failed, [\d.]+/s, up to "
                       r"[\d.]+ (s|min|h) left, fresh: +\d+ %")
    found = [line for line in map(shape.fullmatch, lines) if line]
    assert found, lines
    assert int(found[-1][1]) >= SOME and int(found[-1][2]) <= int(found[-1][1]) - 4


def test_a_killed_campaign_goes_on_and_makes_no_finished_run_again(
        file: Path, tmp_path: Path) -> None:
    """Every run that was told is on disk. Of the next ones asked for only those are made that are
    not: the runs at random of a campaign are the same ones each time."""
    out = tmp_path / "out"
    program = Program("stress", file, "--strategy", STRATEGY, "--out", out)
    program.until(lambda _: program.runs() >= SOME)
    told = program.runs()
    program.process.kill()
    assert program.ended()[0] == -signal.SIGKILL
    before = kept(out)
    assert len(before) >= told

    case = api.load(file)
    space = Space(case, STRATEGY)
    store = Store(out, about(space, STRATEGY))
    assert store.found == len(before)
    again = Runs(case, STRATEGY, space, store)
    known = len(before) - 1
    again(np.vstack([space.nominal, random_points(SEED, 0, known + 3, INPUTS)]))
    store.close()
    assert again.made == 3
    assert kept(out)[:len(before)] == before and len(kept(out)) == len(before) + 3


def test_a_full_disk_ends_it_with_the_answer_of_what_is_kept(
        file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file may not grow: SQLite's own error for a disk that is full."""
    put, limit = Store.put, []

    def limited(store: Store, found: object) -> None:
        if len(store) >= SOME and not limit and store._base:
            pages = store._base.execute("pragma page_count").fetchone()[0]
            limit.append(store._base.execute(f"pragma max_page_count = {pages}").fetchone())
        put(store, found)  # type: ignore[arg-type]

    monkeypatch.setattr(Store, "put", limited)
    answer = api.stress(api.load(file), STRATEGY, out=tmp_path / "out")
    assert answer.broken_off and answer.stopped_early is not None
    assert "the disk is full: make room" in answer.stopped_early
    assert answer.runs == len(kept(tmp_path / "out")) >= SOME
