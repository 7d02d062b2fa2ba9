"""The timeline plays events into one value for each scan. Expected values follow from the words of
the file: a step holds from its scan on, a ramp is a straight line from where the thing stands."""

from typing import Any

import numpy as np
import pytest

from simfan.history import Happening, SetpointChange
from simfan.timeline import Played, play
from tests.plants import plain


def played(*events: dict[str, Any], duration: float = 20.0, scan: float = 1.0) -> Played:
    """From a setpoint of 45 m³/s and a fixed pressure of 400 Pa."""
    return play(plain(control={"scan": scan}, timeline=list(events),
                      run={"duration": duration, "starts_at": 45.0}))


def test_without_events_everything_stays() -> None:
    got = played(duration=3.0)
    assert got.dials["setpoint"].tolist() == [45.0] * 4
    assert got.dials["process_resistance"].tolist() == [1.0] * 4
    assert got.dials["fixed_pressure"].tolist() == [400.0] * 4
    assert got.log == () and got.changes == ()


def test_a_step_holds_from_its_own_scan_on() -> None:
    got = played({"at": 2.0, "setpoint": 36.0}, duration=4.0)
    assert got.dials["setpoint"].tolist() == [45.0, 45.0, 36.0, 36.0, 36.0]


def test_a_step_at_time_zero_and_at_the_last_scan() -> None:
    got = played({"at": 0.0, "setpoint": 40.0}, {"at": 3.0, "setpoint": 36.0}, duration=4.0)
    assert got.dials["setpoint"].tolist() == [40.0, 40.0, 40.0, 36.0, 36.0]


def test_a_ramp_is_a_straight_line_that_ends_when_it_should() -> None:
    got = played({"at": 1.0, "setpoint": 25.0, "over": 4.0}, duration=7.0)
    assert got.dials["setpoint"].tolist() == [45.0, 45.0, 40.0, 35.0, 30.0, 25.0, 25.0, 25.0]


def test_an_interrupted_ramp_goes_on_from_where_it_stood() -> None:
    """At 4 s it has come to 30; from there a new ramp up to 36."""
    got = played({"at": 1.0, "setpoint": 25.0, "over": 4.0},
                 {"at": 4.0, "setpoint": 36.0, "over": 2.0}, duration=8.0)
    assert got.dials["setpoint"].tolist() == [45.0, 45.0, 40.0, 35.0, 30.0, 33.0, 36.0, 36.0, 36.0]
    assert [(c.start, c.end) for c in got.changes] == [(45.0, 25.0), (30.0, 36.0)]


def test_a_step_ends_a_ramp_for_good() -> None:
    got = played({"at": 1.0, "setpoint": 25.0, "over": 4.0}, {"at": 3.0, "setpoint": 40.0},
                 duration=6.0)
    assert got.dials["setpoint"].tolist() == [45.0, 45.0, 40.0, 40.0, 40.0, 40.0, 40.0]


def test_a_change_at_the_end_of_a_ramp_starts_from_its_end() -> None:
    got = played({"at": 0.0, "setpoint": 36.0, "over": 3.0}, {"at": 3.0, "setpoint": 27.0},
                 duration=5.0)
    assert got.dials["setpoint"].tolist() == [45.0, 42.0, 39.0, 27.0, 27.0, 27.0]
    assert got.changes[1].start == 36.0
    assert got.log[1].what == "setpoint 36 → 27 m3/s"


def test_a_profile_joins_its_points() -> None:
    """The first setpoint holds from the event to the first time; the last for good."""
    profile = {"time": [1.0, 3.0, 4.0], "setpoint": [40.0, 30.0, 36.0]}
    got = played({"at": 1.0, "profile": profile}, duration=7.0)
    assert got.dials["setpoint"].tolist() == [45.0, 40.0, 40.0, 35.0, 30.0, 36.0, 36.0, 36.0]


@pytest.mark.parametrize(("scan", "last"), [(0.1, 0.3), (0.25, 0.6), (1.0, 2.5)])
def test_a_profile_ends_at_its_last_setpoint(scan: float, last: float) -> None:
    """Also where .3/.1 is a hair less than 3, and where the last time falls between scans."""
    got = played({"at": 0.0, "profile": {"time": [0.0, last], "setpoint": [40.0, 30.0]}},
                 scan=scan, duration=4.0)
    after = int(np.ceil(last / scan - 1e-9))
    assert np.all(got.dials["setpoint"][after:] == 30.0)
    assert np.all(got.dials["setpoint"][:after] > 30.0)


def test_a_profile_is_interrupted_like_a_ramp() -> None:
    profile = {"time": [0.0, 4.0], "setpoint": [45.0, 25.0]}
    got = played({"at": 0.0, "profile": profile}, {"at": 2.0, "setpoint": 40.0}, duration=5.0)
    assert got.dials["setpoint"].tolist() == [45.0, 40.0, 40.0, 40.0, 40.0, 40.0]
    assert got.changes[0].start == 35.0


def test_process_and_setpoint_move_at_the_same_time_without_touching() -> None:
    got = played({"at": 1.0, "setpoint": 36.0}, {"at": 1.0, "process_resistance": 2.0, "over": 2.0},
                 {"at": 2.0, "fixed_pressure": 0.0, "over": 2.0}, duration=5.0)
    assert got.dials["setpoint"].tolist() == [45.0, 36.0, 36.0, 36.0, 36.0, 36.0]
    assert got.dials["process_resistance"].tolist() == [1.0, 1.0, 1.5, 2.0, 2.0, 2.0]
    assert got.dials["fixed_pressure"].tolist() == [400.0, 400.0, 400.0, 200.0, 0.0, 0.0]


@pytest.mark.parametrize("scan", [0.1, 0.25, 0.05, 1.0 / 3.0])
def test_scans_that_are_no_round_binary_number_lose_no_event(scan: float) -> None:
    at = 9 * scan
    got = played({"at": at, "setpoint": 36.0}, duration=30 * scan, scan=scan)
    assert got.dials["setpoint"].size == 31
    assert np.flatnonzero(got.dials["setpoint"] == 36.0)[0] == 9


def test_the_whole_log() -> None:
    got = played(
        {"at": 1.0, "setpoint": 36.0},
        {"at": 2.0, "process_resistance": 1.3, "over": 4.0, "because": "filter clogs"},
        {"at": 5.0, "setpoint": 27.0, "over": 3.0},
        {"at": 5.0, "fixed_pressure": 250.0},
        {"at": 10.0, "profile": {"time": [0.0, 5.0], "setpoint": [27.0, 45.0]}},
        {"at": 17.0, "process_resistance": 1.0},
    )
    assert got.log == (
        Happening(1.0, "setpoint 45 → 36 m3/s"),
        Happening(2.0, "process resistance 100 → 130 % over 4 s (filter clogs)"),
        Happening(5.0, "setpoint 36 → 27 m3/s over 3 s"),
        Happening(5.0, "fixed pressure 400 → 250 Pa"),
        Happening(10.0, "setpoint follows a profile for 5 s"),
        Happening(17.0, "process resistance 130 → 100 %"),
    )
    assert got.changes == (
        SetpointChange(at_s=1.0, until_s=2.0, start=45.0, end=36.0),
        SetpointChange(at_s=5.0, until_s=10.0, start=36.0, end=27.0, over_s=3.0),
    )


FROZEN, LOW, WELL = ({"of": "transmitter", "state": state}
                     for state in ("frozen", "lost low", "well"))
STUCK = {"of": "inlet vanes", "state": "stuck"}


@pytest.mark.parametrize(("first", "later", "dial", "expected"), [
    (FROZEN, LOW, "reading", [0, 1, 1, 2, 2, 2, 2, 2, 2]),
    (FROZEN, LOW | {"lasts": 4.0}, "reading", [0, 1, 1, 2, 2, 2, 2, 0, 0]),
    (FROZEN, LOW | {"lasts": 1.0}, "reading", [0, 1, 1, 2, 0, 0, 0, 0, 0]),
    (STUCK, STUCK, "stuck inlet vanes", [0, 1, 1, 1, 1, 1, 1, 1, 1]),
    (STUCK, FROZEN, "stuck inlet vanes", [0, 1, 1, 1, 1, 0, 0, 0, 0]),
])
def test_the_end_of_a_fault_leaves_a_later_one_of_its_kind_alone(
        first: dict[str, Any], later: dict[str, Any], dial: str, expected: list[int]) -> None:
    """The first from 1 s for 4 s, the later from 3 s."""
    got = played({"at": 1.0, "fault": first | {"lasts": 4.0}}, {"at": 3.0, "fault": later},
                 duration=8.0)
    assert got.dials[dial].tolist() == expected
    ends = [h.what for h in got.log if "no longer" in h.what]
    assert len(ends) == (later is FROZEN) + ("lasts" in later)


def test_a_fault_after_the_device_was_well_again_outlasts_the_one_before() -> None:
    got = played({"at": 1.0, "fault": FROZEN | {"lasts": 4.0}}, {"at": 2.0, "fault": WELL},
                 {"at": 3.0, "fault": FROZEN}, duration=8.0)
    assert got.dials["reading"].tolist() == [0, 1, 0, 1, 1, 1, 1, 1, 1]
    assert not any("no longer" in h.what for h in got.log)
