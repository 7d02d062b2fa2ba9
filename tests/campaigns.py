"""A small search, and the real program at it, with its standard error on a terminal."""

import fcntl
import os
import pty
import re
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path

PLANT = (Path(__file__).parents[1] / "scenarios" / "ten-lines.toml").read_text(
    "utf-8").replace('duration = "180 s"', 'duration = "100 s"')
"""A scenario of runs of 100 s, without anything that varies."""
MOVES = """
[stress.moves]
from = ["3 m3/s", "5 m3/s"]
to = ["2.5 m3/s", "5 m3/s"]
over = ["0 s", "20 s"]
at = "20 s"
"""
SCENARIO = PLANT + """
[criteria]
overshoot = "10 %"
settling_time = "60 s"
stall_margin = "5 %"
[stress]
runs = 4000
seed = 3
vary = [{ of = "process.design.pressure", plus_minus = "10 %" }]
""" + MOVES
STRATEGY, SEED, INPUTS = "damper", 3, 4
QUICK = """
from simfan.stress import campaign, sensitivity
sensitivity.LEAST = 2
campaign.Campaign._ramp = lambda self: None
from simfan.cli import main
main()
"""
"""The program, with few runs for the sensitivities and none for ramp limits."""
PATIENCE = 300.0
"""A test fails that waits longer [s]: the solver may have to be compiled first."""


def heeds_ctrl_c() -> None:
    """A shell lets what it starts in the background ignore Ctrl-C, and all that this starts."""
    signal.signal(signal.SIGINT, signal.default_int_handler)


class Program:
    """`simfan` in a process of its own."""

    def __init__(self, *words: object, columns: int = 120) -> None:
        ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
        self.process = subprocess.Popen(
            [sys.executable, "-c", QUICK, *map(str, words)], stdout=subprocess.PIPE, stderr=theirs,
            stdin=subprocess.DEVNULL, preexec_fn=heeds_ctrl_c)
        os.close(theirs)
        os.set_blocking(ours, False)
        self._ours, self.told = ours, ""

    def until(self, seen: Callable[[str], object]) -> str:
        """Wait until that is true of what was told."""
        began = time.monotonic()
        while not seen(self._read()):
            assert self.process.poll() is None, f"ended: {self.told}"
            assert time.monotonic() - began < PATIENCE, f"nothing but: {self.told[-500:]}"
            time.sleep(0.05)
        return self.told

    def ended(self) -> tuple[int, str]:
        """Exit code and standard output. The terminal is read on: one that is full stops it."""
        began = time.monotonic()
        while self.process.poll() is None:
            self._read()
            assert time.monotonic() - began < PATIENCE, f"did not end: {self.told[-500:]}"
            time.sleep(0.05)
        out, _ = self.process.communicate()
        self._read()
        os.close(self._ours)
        return self.process.returncode, out.decode()

    def runs(self) -> int:
        """The last number of runs that was told."""
        found = re.findall(r": (\d+) runs", self._read())
        return int(found[-1]) if found else 0

    def _read(self) -> str:
        try:
            while more := os.read(self._ours, 65536):
                self.told += more.decode()
        except OSError:  # nothing there, or the other end is closed
            pass
        return self.told
