"""What a person waits for and what it takes: a fresh process, compiled code kept from before."""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.benchmarks.conftest import Tell

pytestmark = pytest.mark.benchmark

ROOT = Path(__file__).parents[2]
KILN = ROOT / "scenarios" / "kiln-air.toml"

START = """
import time
begun = time.perf_counter()
from simfan.kernel import advance, layout
known = time.perf_counter()
from tests.benchmarks.runs import going, to
run = going("before", to(36.0), 24.0)
ready = time.perf_counter()
run.go()
print(known - begun, ready - known, time.perf_counter() - ready)
"""
HELP = "from simfan.cli import main; main()"
MEMORY = """
import json, resource, sys
from simfan.cli import main
code = main(["compare", sys.argv[1], "--out", sys.argv[2], "--quiet"], standalone_mode=False)
print(json.dumps([code or 0, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss]))
"""


def _run(program: str, *arguments: str) -> str:
    done = subprocess.run([sys.executable, "-c", program, *arguments], cwd=ROOT, text=True,
                          capture_output=True, check=True, stdin=subprocess.DEVNULL)
    return done.stdout.strip().splitlines()[-1]


def test_seconds_from_import_to_the_first_advance(tell: Tell) -> None:
    _run(START)
    imported, prepared, first = min((tuple(map(float, _run(START).split())) for _ in range(3)),
                                    key=sum)
    tell("fresh process, compiled before", f"{imported + prepared + first:.2f} s to the end of the "
         f"first run: imports {imported:.2f}, plant and steady start {prepared:.2f}, "
         f"first advance {first:.2f}")
    assert first < imported + prepared + 10.0  # a compilation would take half a minute


def test_seconds_to_help(tell: Tell) -> None:
    times = []
    for _ in range(5):
        begun = time.perf_counter()
        assert "warm-up" in _run(HELP, "--help")
        times.append(time.perf_counter() - begun)
    tell("simfan --help", f"{min(times):.2f} s, interpreter and all")


def test_peak_memory_of_a_comparison(tmp_path: Path, tell: Tell) -> None:
    pytest.importorskip("resource")
    code, kib = json.loads(_run(MEMORY, str(KILN), str(tmp_path / "out")))
    assert code == 0
    if sys.platform == "darwin":
        kib /= 1024
    tell("compare kiln-air.toml with pictures", f"{kib / 1024:.0f} MiB at its peak")
    assert (tmp_path / "out" / "result.json").exists()
