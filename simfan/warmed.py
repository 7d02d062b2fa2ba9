"""The solver compiled ahead of need, on two cores where there are two: the search for rest in this
process, the steps through time in one beside it. They know each other by what they keep on disk.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from simfan.assemble import assemble
from simfan.assemble.schedule import schedule
from simfan.compared import side_by_side
from simfan.kernel import layout
from simfan.kernel.advance import advance
from simfan.loops.equal import equal
from simfan.plant.case import Case
from simfan.scenario.starter import starter_case
from simfan.simulate import prepare, settled
from simfan.steady.balance import standing_state
from simfan.timeline import play


def warm_up() -> None:
    """Compile all that a comparison needs."""
    case, name = _short()
    with _stepped_beside():
        settled(case, prepare(case, name)[0])
    side_by_side(equal(case, [name]), [name])


def step() -> None:
    """Compile what steps through time: a run of no steps, begun at standstill."""
    case, name = _short()
    assembled = assemble(case, name, case.control.scan, case.control.scan)
    plan = schedule(assembled, case, play(case).dials)
    plant = assembled.plant
    advance(plant, plan, standing_state(assembled, plan), layout.traces(plant), 0)


def _short() -> tuple[Case, str]:
    """A case and a strategy of it."""
    case = starter_case()
    run = case.run.model_copy(update={"duration": 8.0 * case.control.scan})
    return case.model_copy(update={"timeline": (), "run": run}), next(iter(case.strategies))


@contextmanager
def _stepped_beside() -> Iterator[None]:
    """`step` in another process meanwhile. Where that fails it is done here, later."""
    if os.cpu_count() == 1:
        yield
        return
    paths = os.pathsep.join(str(Path(p).resolve()) for p in sys.path)
    beside = subprocess.Popen([sys.executable, "-m", "simfan.warmed"], stdin=subprocess.DEVNULL,
                              stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                              env=os.environ | {"PYTHONPATH": paths})
    try:
        yield
        beside.wait()
    finally:
        beside.kill()
        beside.wait()


if __name__ == "__main__":
    step()
