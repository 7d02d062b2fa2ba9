"""Runs on the workers of a Dask scheduler: real processes, really killed; and what is told where
there is no scheduler, no worker, or another program."""

import json
import logging
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from simfan import api
from simfan.cli import main
from simfan.errors import RunError
from simfan.stress import chunk, cluster
from simfan.stress.cluster import Cluster
from simfan.stress.program import differences, program
from simfan.stress.runs import Runs
from simfan.stress.space import Space, random_points
from simfan.stress.store import Store
from tests.campaigns import INPUTS, PATIENCE, SCENARIO, STRATEGY

distributed = pytest.importorskip("distributed")
WITHIN = 7.0
"""A person at the terminal waits no longer for a sentence [s]; the program itself gives up
earlier, and the rest is the room of a busy machine."""
CLOSES = 60.0
"""No cluster is waited for longer at its end [s]."""


@pytest.fixture(scope="module")
def local() -> Iterator["distributed.LocalCluster"]:
    """Two workers, each a process of its own that is started anew when it dies."""
    made = distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0",
                                    silence_logs=logging.ERROR)
    try:
        yield made
    finally:
        ended(made)


def ended(cluster: "distributed.LocalCluster") -> None:
    """Closing waits for ever for a process that dies while it is started: not here. What is left of
    it ends with this program."""
    with suppress(TimeoutError):
        cluster.close(timeout=CLOSES)


@contextmanager
def without_workers() -> Iterator["distributed.LocalCluster"]:
    made = distributed.LocalCluster(n_workers=0, dashboard_address=":0",
                                    silence_logs=logging.ERROR)
    try:
        yield made
    finally:
        ended(made)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "stressed.toml"
    path.write_text(SCENARIO, "utf-8")
    return path


def workers(local: "distributed.LocalCluster") -> list[int]:
    """Their process numbers."""
    return [worker.process.pid for worker in local.workers.values()]


def test_threads_processes_and_a_cluster_give_the_same_bits(
        local: "distributed.LocalCluster", file: Path) -> None:
    case = api.load(file)
    points = random_points(5, 0, 12, INPUTS)
    here = Runs(case, STRATEGY, Space(case, STRATEGY), Store(None, {}))
    there = Cluster(local.scheduler_address)
    try:
        away = Runs(case, STRATEGY, Space(case, STRATEGY), Store(None, {}), makers=there)
        found = away(points[::-1])[::-1]
    finally:
        there.close()
    assert away.made == 12
    assert found.tobytes() == here(points).tobytes()
    assert len(np.unique(found, axis=0)) == 12


def test_a_killed_worker_loses_nothing(local: "distributed.LocalCluster", file: Path) -> None:
    """Killed for good while it makes a run: the run goes to the other one, and each comes once."""
    case = api.load(file)
    here = Runs(case, STRATEGY, Space(case, STRATEGY), Store(None, {}))
    points = random_points(6, 0, 24, INPUTS)
    there, came, killed = Cluster(local.scheduler_address), [], None
    try:
        for found in there.outcomes(here.shared, list(points)):
            came += found
            if found and not killed:
                killed = busy(there, local)
                os.kill(killed, signal.SIGKILL)
    finally:
        there.close()
    assert killed not in workers(local)
    assert len(came) == len({point.tobytes() for point, _ in came}) == len(points)
    for point, outcome in came[-6:]:
        alone, = chunk.outcomes(here.shared, [point])
        assert outcome.distances.tobytes() == alone.distances.tobytes()


def busy(there: Cluster, local: "distributed.LocalCluster") -> int:
    """The process of a worker that makes runs just now."""
    for _ in range(600):
        for address, tasks in there.client.processing().items():
            if tasks:
                return next(worker.process.pid for worker in local.workers.values()
                            if worker.worker_address == address)
        time.sleep(0.05)
    raise AssertionError("nobody works")


def test_the_command_has_its_runs_made_there(
        local: "distributed.LocalCluster", file: Path, tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch) -> None:
    """With nothing here that could make them."""
    monkeypatch.setattr("simfan.stress.runs.Local", None)
    for part in ("_change", "_matter", "_ramp"):
        monkeypatch.setattr(f"simfan.stress.campaign.Campaign.{part}", lambda self: None)
    words = ["stress", str(file), "--strategy", STRATEGY, "--runs", "12", "--json", "--scheduler"]
    done = CliRunner().invoke(main, [*words, local.scheduler_address])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["runs"] >= 12


def test_without_dask_the_line_that_installs_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(RunError, match=r"pip install 'simfan\[cluster\]'"):
        Cluster("tcp://127.0.0.1:8786")


@pytest.mark.parametrize("address", ["here", "tcp://127.0.0.1", "http://127.0.0.1:8786", "tcp://"])
def test_an_address_that_is_none(address: str) -> None:
    with pytest.raises(RunError, match="not the address of a Dask scheduler, such as tcp"):
        Cluster(address)


def refused(address: str) -> tuple[str, float]:
    """The sentence, and after what time [s]."""
    began = time.monotonic()
    with pytest.raises(RunError) as told:
        Cluster(address)
    return str(told.value), time.monotonic() - began


@pytest.mark.parametrize("what", ["nobody", "no such name", "silent"])
def test_a_scheduler_that_does_not_answer(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "ANSWERS_WITHIN", 1.0)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
        if what == "silent":
            taken.listen()
        name = "nowhere.invalid" if what == "no such name" else "127.0.0.1"
        told, seconds = refused(f"tcp://{name}:{port}")
    assert f"no Dask scheduler answers at tcp://{name}:{port} within 1 s" in told
    assert seconds < WITHIN


def test_something_else_answers() -> None:
    """A web server, say."""
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen()

        def answer() -> None:
            other, _ = server.accept()
            with other:
                other.sendall(b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n")
                other.recv(65536)

        threading.Thread(target=answer, daemon=True).start()
        told, seconds = refused(f"tcp://127.0.0.1:{server.getsockname()[1]}")
    assert "is no Dask scheduler that is understood here" in told or "no Dask scheduler" in told
    assert seconds < WITHIN


def test_the_address_of_a_worker(local: "distributed.LocalCluster") -> None:
    worker = next(iter(local.scheduler_info["workers"]))
    told, _ = refused(worker)
    assert f"at {worker} there is a Worker of Dask, not its scheduler" in told


@pytest.mark.slow  # it closes a cluster under its own clients, which may take minutes
def test_a_scheduler_without_workers_and_one_that_goes_away(
        file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And workers that all go away; what came before is there."""
    with without_workers() as alone:
        told, seconds = refused(alone.scheduler_address)
        assert f"has no workers: start one where simfan is installed, with `dask worker " \
               f"{alone.scheduler_address}`" in told
        assert seconds < 2 * WITHIN
        alone.scale(1)
        alone.wait_for_workers(1, timeout=PATIENCE)
        case = api.load(file)
        here = Runs(case, STRATEGY, Space(case, STRATEGY), Store(None, {}))
        there = Cluster(alone.scheduler_address)
        monkeypatch.setattr(cluster, "ALONE", 2.0)
        going = there.outcomes(here.shared, list(random_points(7, 0, 40, INPUTS)))
        came = next(found for found in going if found)
        assert came
        alone.scale(0)
        with pytest.raises(RunError, match=r"no worker is left at tcp://.*for 2 s now; with "
                                           "--out the same command goes on"):
            list(going)
        lost = there.outcomes(here.shared, list(random_points(8, 0, 4, INPUTS)))
        threading.Timer(1.0, alone.close).start()
        monkeypatch.setattr(cluster, "ALONE", 60.0)
        with pytest.raises(RunError, match=r"the scheduler at tcp://.* is gone; with --out"):
            list(lost)
        there.close()


OTHER = """
import sys
from importlib import metadata
real = metadata.version
metadata.version = lambda name: "1.26.0" if name == "numpy" else real(name)
from distributed.cli.dask_worker import main
main(sys.argv[1:])
"""


def test_a_worker_with_other_versions_is_refused_with_both(
        tmp_path: Path) -> None:
    """A worker that says that its numpy is another one."""
    with without_workers() as alone:
        other = subprocess.Popen(
            [sys.executable, "-c", OTHER, alone.scheduler_address, "--no-nanny", "--nthreads", "1",
             "--no-dashboard"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=tmp_path,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)})
        try:
            alone.wait_for_workers(1, timeout=PATIENCE)
            told, _ = refused(alone.scheduler_address)
        finally:
            other.kill()
            other.wait()
    assert f"numpy 1.26.0 there, {np.__version__} here" in told and "a worker, tcp://" in told
    assert "Install the same there" in told


def test_a_worker_that_comes_later_refuses_by_itself(file: Path) -> None:
    case = api.load(file)
    here = Runs(case, STRATEGY, Space(case, STRATEGY), Store(None, {}))
    asking = program() | {"simfan": "0.0 (ff)"}
    with pytest.raises(RunError, match=r"other versions: simfan .*\) there, 0.0 \(ff\)"):
        cluster._made(here.shared, [here.space.nominal], asking)


def test_differences_name_what_is_missing_too() -> None:
    assert differences({"numpy": "2.0", "scipy": "1.0"}, {"scipy": "1.0"}) == \
        "numpy missing there, 2.0 here"
