"""The same bits whichever way a run is made: again, in pieces, without compilation."""

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from simfan.kernel import advance, layout
from simfan.kernel.layout import STIFF
from simfan.simulate import simulate
from tests import segment
from tests.plants import plain, run_from

ROOT = Path(segment.__file__).parents[1]


@pytest.fixture(scope="module")
def here() -> dict[str, str]:
    """Fingerprints made in this process."""
    return segment.prints()


def elsewhere(**environment: str) -> dict[str, Any]:
    """The same made by another process."""
    done = subprocess.run([sys.executable, "-m", "tests.segment"], cwd=ROOT, check=True,
                          input=segment.starts(),
                          capture_output=True, text=True, env={**os.environ, **environment})
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_no_field_of_a_record_hides_behind_a_name_of_numpy() -> None:
    """Such as `base`: compiled code would read the field, interpreted code numpy's own."""
    records = [kind for kind in vars(layout).values() if isinstance(kind, np.dtype) and kind.names]
    assert len(records) > 5
    taken = set(dir(np.recarray)) | set(dir(np.record))
    assert [name for kind in records for name in kind.names or () if name in taken] == []


def test_compiled_and_interpreted_runs_are_equal_bit_for_bit(here: dict[str, str]) -> None:
    found = elsewhere(NUMBA_DISABLE_JIT="1")
    assert not found["compiled"]
    assert found["prints"] == here


def test_another_process_gives_the_same_bits(here: dict[str, str]) -> None:
    assert elsewhere(NUMBA_DISABLE_JIT="0")["prints"] == here


def test_the_segments_differ_and_do_what_they_are_named_for(here: dict[str, str]) -> None:
    assert len(set(here.values())) == len(segment.SEGMENTS)
    assembled, plan, traces, state = segment.ready("damper in surge")
    run_from(assembled, plan, traces, state)
    assert traces.fan_flow.min() < 0.0 < 40.0 < traces.fan_flow.max()
    assembled, plan, traces, state = segment.ready("damper shutting")
    run_from(assembled, plan, traces, state)
    assert traces.element_position[-1, 0] < 0.1 and state.counts[STIFF] > 0
    assembled, plan, traces, state = segment.ready("dampers behind the fan")
    run_from(assembled, plan, traces, state)
    lowest = traces.shutter_position.min(axis=0)
    assert (lowest == 0.0).all() and (traces.electrical_power[-1] == 0.0).all()


@settings(max_examples=25, deadline=None)
@example("damper in surge", [1, 2, 19, 20, 21, 639])
@given(st.sampled_from(sorted(segment.SEGMENTS)), st.lists(st.integers(0, 639), max_size=6))
def test_cutting_a_run_anywhere_changes_no_bit(name: str, cuts: list[int]) -> None:
    """At scans, between scans, twice at one place, at the very beginning."""
    assembled, plan, traces, state = segment.ready(name)
    for until in [*sorted(cuts), assembled.plant.last_tick]:
        assert advance.advance(assembled.plant, plan, state, traces, until) == layout.DONE
    whole = segment.ready(name)
    assert run_from(whole[0], whole[1], whole[2], whole[3]) == layout.DONE
    assert segment.fingerprint(traces, state) == segment.fingerprint(whole[2], whole[3])


@pytest.mark.parametrize("cut", [1, 20, 133, 600])
def test_a_state_put_aside_and_taken_up_again_goes_on_the_same(cut: int) -> None:
    """A copy is the whole memory of a run."""
    assembled, plan, traces, state = segment.ready("damper after the volume")
    advance.advance(assembled.plant, plan, state, traces, cut)
    aside = layout.copy(state)
    run_from(assembled, plan, traces, state)
    other = layout.traces(assembled.plant)
    run_from(assembled, plan, other, aside)
    first = -(-cut // assembled.plant.record_steps)
    for name, values in traces._asdict().items():
        assert np.array_equal(values[first:], getattr(other, name)[first:], equal_nan=True), name


@pytest.mark.parametrize("name", ["after", "before", "speed"])
def test_the_same_case_gives_the_same_bits(name: str) -> None:
    """Through the whole pipeline, with and without someone looking on."""
    case = plain()
    first = simulate(case, name)
    second = simulate(case, name, progress=lambda who, share: None)
    for trace, values in first.traces.items():
        assert values.tobytes() == second.traces[trace].tobytes(), trace
    assert first.audit == second.audit
