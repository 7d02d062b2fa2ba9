"""The split point of a split range: after Reyes-Lúa, Zotică & Skogestad 2019, from memory."""

from pathlib import Path

import pytest

from simfan import api
from simfan.loops.legs import legs, resplit, words
from simfan.loops.over_range import Loop

KILN = api.load(Path(__file__).parents[1] / "scenarios" / "kiln-air.toml")


def unlike(loop: Loop, split: float) -> float:
    """Ratio of the mean gains of both legs, the larger over the smaller: change of the held value
    over change of the output, between the outermost points that lie in each leg."""
    gains = []
    for among in (loop.output < split, loop.output > split):
        held, output = loop.held[among], loop.output[among]
        gains.append((held[0] - held[-1]) / (output[0] - output[-1]))
    return float(max(gains) / min(gains))


@pytest.mark.parametrize("name", ["vanes-then-speed", "speed-then-vanes"])
def test_at_the_split_told_both_legs_have_one_gain(name: str) -> None:
    ends = {"vanes-then-speed": (17.0, 45.0), "speed-then-vanes": (25.0, 45.0)}[name]
    before = Loop(KILN, name, *ends, n=61)
    found = legs(before, 1.6)
    assert found is not None and found.by_gains is not None
    after = Loop(resplit(KILN, name, found.by_gains), name, *ends, n=61)
    assert unlike(before, found.split) > 1.05
    assert unlike(after, found.by_gains) < 1.03


def test_one_that_has_no_split_is_passed_over() -> None:
    for name in ("inlet-vanes", "vanes-with-speed"):
        assert legs(Loop(KILN, name, 33.0, 40.0, n=3), 1.6) is None


def test_the_sentence_tells_both_ways() -> None:
    found = legs(Loop(KILN, "vanes-then-speed", 17.0, 45.0), 1.6)
    assert found is not None
    assert words(found).startswith("the split stands at 50 %")
    assert "by the legs' gains" in words(found)
