"""Finished runs on disk: what was put is there; whatever is wrong with the file is a sentence."""

import os
import resource
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from simfan.errors import RunError
from simfan.stress.store import NAME, Outcome, Store

ABOUT = {"simfan": "1.0 (aa)", "strategy": "damper", "scenario": "b07d"}
NOBODY = 65534


def some(first: int, number: int) -> list[tuple[np.ndarray, Outcome]]:
    """Runs that can be told apart."""
    return [(np.array([k, 0.5]), Outcome(np.array([k, -1.0, 0.25]), k % 2 == 0,
                                         "why" if k % 3 == 0 else None))
            for k in range(first, first + number)]


@contextmanager
def unprivileged() -> Iterator[None]:
    """Without the rights of root, who may write everywhere."""
    before = os.geteuid()
    if before == 0:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(before)


def test_what_was_put_is_found_again_to_the_last_bit(tmp_path: Path) -> None:
    first = Store(tmp_path, ABOUT)
    first.put(some(0, 5))
    first.put(some(5, 2))
    first.close()
    again = Store(tmp_path, ABOUT)
    assert again.found == len(again) == 7
    for point, outcome in some(0, 7):
        found = again.get(point)
        assert found is not None and found.distances.tobytes() == outcome.distances.tobytes()
        assert (found.reached, found.why) == (outcome.reached, outcome.why)
    again.close()


def test_all_that_is_different_is_told_with_both_fingerprints(tmp_path: Path) -> None:
    made = Store(tmp_path, ABOUT)
    made.put(some(0, 3))
    made.close()
    with pytest.raises(RunError) as told:
        Store(tmp_path, ABOUT | {"scenario": "c11c", "simfan": "1.1 (bb)"})
    assert ("holds 3 runs of something else: simfan 1.0 (aa) there, 1.1 (bb) here; scenario b07d "
            "there, c11c here") in str(told.value)
    kept = Store(tmp_path, ABOUT)
    assert len(kept) == 3, "nothing was taken away"
    kept.close()


def test_two_campaigns_do_not_share_a_folder(tmp_path: Path) -> None:
    one = Store(tmp_path, ABOUT)
    with pytest.raises(RunError, match="in use by another search: wait until"):
        Store(tmp_path, ABOUT)
    one.put(some(0, 2))
    one.close()
    other = Store(tmp_path, ABOUT)
    assert len(other) == 2
    other.close()


def test_a_full_disk_keeps_what_was_finished(tmp_path: Path) -> None:
    """SQLite says the same of a file that may not grow as of a disk that is full."""
    made = Store(tmp_path, ABOUT)
    made.put(some(0, 50))
    assert made._base is not None
    pages = made._base.execute("pragma page_count").fetchone()[0]
    made._base.execute(f"pragma max_page_count = {pages}")
    with pytest.raises(RunError, match=r"the disk is full: make room. The 50 runs that were "
                                       "finished before are kept"):
        made.put(some(50, 5000))
    assert len(made) == 50, "what is not on disk is not told as finished"
    made.close()
    again = Store(tmp_path, ABOUT)
    assert len(again) == 50 and again.get(some(49, 1)[0][0]) is not None
    again.close()


LIMITED = """
import resource, sys
from pathlib import Path
from simfan.errors import RunError
from tests.test_stress_store import ABOUT, some
from simfan.stress.store import Store
store = Store(Path(sys.argv[1]), ABOUT)
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, resource.RLIM_INFINITY))
try:
    for first in range(0, 100_000, 100):
        store.put(some(first, 100))
except RunError as why:
    print(len(store), why)
"""


def test_a_file_that_the_system_lets_grow_no_more_keeps_what_was_finished(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, "-c", LIMITED, str(tmp_path)], capture_output=True,
                          text=True, timeout=120)
    number, _, told = done.stdout.partition(" ")
    assert "cannot be written" in told and f"The {number} runs that were finished" in told
    again = Store(tmp_path, ABOUT)
    assert len(again) == int(number) > 0
    again.close()
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] == resource.RLIM_INFINITY


def test_a_folder_without_the_right_to_write(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with unprivileged(), pytest.raises(RunError, match="Permission denied; give another folder"):
        Store(tmp_path / "new", ABOUT)
    tmp_path.chmod(0o700)


def test_a_file_without_the_right_to_write(tmp_path: Path) -> None:
    Store(tmp_path, ABOUT).close()
    (tmp_path / NAME).chmod(0o444)
    for folder in (tmp_path, *(p for p in tmp_path.parents if "pytest" in str(p))):
        folder.chmod(0o755)
    with unprivileged(), pytest.raises(RunError, match="may not be written: change its perm"):
        Store(tmp_path, ABOUT)


def test_a_file_in_the_place_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(RunError, match="taken cannot be used for the runs: File exists"):
        Store(tmp_path / "taken", ABOUT)


def test_a_file_of_something_else(tmp_path: Path) -> None:
    (tmp_path / NAME).write_text("no runs at all\n" * 400)
    with pytest.raises(RunError, match=r"runs.sqlite is no file of runs, or damaged: take it"):
        Store(tmp_path, ABOUT)


@pytest.mark.parametrize("damage", ["torn", "overwritten", "short"])
def test_a_damaged_file_is_told_and_left_alone(tmp_path: Path, damage: str) -> None:
    made = Store(tmp_path, ABOUT)
    made.put(some(0, 2000))
    made.close()
    file = tmp_path / NAME
    if damage == "short":
        base = sqlite3.connect(file)
        with base:
            base.execute("update run set distances = x'00' where rowid = 7")
        base.close()
    else:
        whole = bytearray(file.read_bytes())
        if damage == "torn":
            del whole[len(whole) // 2:]
        else:
            whole[9000:30000] = bytes(21000)
        file.write_bytes(whole)
    before = file.read_bytes()
    with pytest.raises(RunError, match=r"runs.sqlite is damaged: take it away, or give another"):
        Store(tmp_path, ABOUT)
    assert file.read_bytes() == before
