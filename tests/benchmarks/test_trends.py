"""A recorded trend of a million rows of ten columns: time of one processor, peak of memory."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.conftest import Tell

pytestmark = pytest.mark.benchmark
ROWS = 1_000_000
NAMES = ("SP", "PV", "CO", "Q", "dp", "P", "Pel", "ML", "n")
COLUMNS = ("time=Time", "setpoint=SP [m3/s]", "measured_value=PV [m3/s]",
           "controller_output=CO [%]", "fan_flow=Q [m3/s]", "fan_pressure=dp [Pa]",
           "shaft_power=P [kW]", "electrical_power=Pel [kW]",
           "motor_load=ML [%]", "speed_ratio=n [%]")
MOST_TIMES = 4.0
"""Reading with every check, of the time that numpy takes for the bare numbers."""
MOST_GROWTH = 1.2
"""Of the peak of memory, for four times the rows: a block of lines at work takes 25 MB whatever the
length, and a single column of 750 000 rows more kept in memory would add 6 MB to it."""
WORK = f"""
import sys, time, tracemalloc
import numpy as np
from simfan import api
from simfan.trends.mapping import with_words
case = api.load("scenarios/ten-lines.toml")
case = case.model_copy(update={{"trend": with_words(None, {COLUMNS!r}, ())}})
small, quarter, large = sys.argv[1:]
api.judge(case, small, "damper", simulate=False)
began = time.process_time()
trend = api.read_trend(case, large, "damper")
read = time.process_time() - began
api.judge(case, trend, "damper", simulate=False)
judged = time.process_time() - began - read
began = time.process_time()
with open(large) as file:
    next(file)
    for _ in range(len(trend.time) // 20_000):
        np.loadtxt(file, delimiter=",", usecols=range(1, 10), max_rows=20_000)
bare = time.process_time() - began
del trend
peaks = []
for file in (quarter, large):
    tracemalloc.start()
    trend = api.read_trend(case, file, "damper")
    reading = tracemalloc.get_traced_memory()[1]
    tracemalloc.reset_peak()
    api.judge(case, trend, "damper", simulate=False)
    peaks += [reading, tracemalloc.get_traced_memory()[1]]
    tracemalloc.stop()
print(read, judged, bare, *peaks)
"""


def written(path: Path, rows: int) -> Path:
    """Ten samples a second, a setpoint step every ten minutes."""
    random = np.random.default_rng(1)
    at = np.arange(rows) * 100
    wanted = np.where((at // 600_000) % 2 == 0, 4.5, 3.6)
    stamps = np.datetime_as_string(np.datetime64("2025-02-03T00:00:00.000") + at, unit="ms")
    like = (wanted, wanted, 70.0, wanted, 2500.0, 12.0, 14.0, 60.0, 100.0)
    table = np.column_stack([np.broadcast_to(one, rows) for one in like])
    table[:, 1:] += random.normal(0.0, 0.02, (rows, len(NAMES) - 1))
    with path.open("w") as file:
        file.write(",".join(("Time", *NAMES)) + "\n")
        for stamp, row in zip(stamps, table, strict=True):
            file.write(f"{stamp.replace('T', ' ')}," + ",".join(f"{v:.5g}" for v in row) + "\n")
    return path


def test_a_million_rows_are_read_and_judged_in_seconds_and_in_flat_memory(tmp_path: Path, tell: Tell
                                                                          ) -> None:
    files = [written(tmp_path / f"{rows}.csv", rows) for rows in (5000, ROWS // 4, ROWS)]
    done = subprocess.run([sys.executable, "-c", WORK, *map(str, files)], check=True,
                          capture_output=True, text=True)
    read, judged, bare, *peaks = map(float, done.stdout.split())
    tell("a trend of a million rows of ten columns, read", f"{read:.1f} s")
    tell("the same, judged", f"{judged:.1f} s")
    for what, few, many in (("reading", *peaks[::2]), ("judging", *peaks[1::2])):
        tell(f"memory at work {what} 250 000 rows, and a million",
             f"{few / 1e6:.1f} MB, {many / 1e6:.1f} MB")
        assert many < MOST_GROWTH * few, what
    assert read < MOST_TIMES * bare
