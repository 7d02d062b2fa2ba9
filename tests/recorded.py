"""Trends made by our own simulator, written as an archive of a control system writes them."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from simfan.api import Case, History, load
from simfan.loops.equal import equal, run
from simfan.plant.events import Event

ROOT = Path(__file__).parents[1]
EXAMPLE = ROOT / "docs" / "examples" / "malt-kiln.toml"
HEADINGS: Mapping[str, str] = {
    "setpoint": "SP [m3/s]", "measured_value": "PV [m3/s]", "true_value": "T [m3/s]",
    "controller_output": "CO [%]", "fan_flow": "Q [m3/s]", "fan_pressure": "dp [Pa]",
    "volume_pressure": "pv [Pa]", "shaft_power": "P [W]", "electrical_power": "Pel [W]",
    "motor_load": "ML [%]", "speed_ratio": "n [%]",
}
"""Key of the scenario's trend.columns → column of a plain trend."""
IN_PERCENT = ("controller_output", "motor_load", "speed_ratio")


def ran(case: Case, name: str) -> History:
    """The strategy's run, with the gains that the case gives."""
    return run(equal(case, [name]), name)


def signals(history: History) -> dict[str, np.ndarray]:
    """Column → its numbers, at every sample of the run, elements included."""
    found = {"t [s]": history.time}
    for key, heading in HEADINGS.items():
        if key == "volume_pressure":
            values = (history.trace("node_pressure", "volume")
                      - history.trace("node_pressure", "ambient"))
        else:
            values = history.trace(key)
        found[heading] = 100.0 * values if key in IN_PERCENT else values
    for element in history.items["element"]:
        found[f"{element} [%]"] = 100.0 * history.trace("element_position", element)
    return found


def columns(history: History, without: Sequence[str] = ()) -> list[str]:
    """What --column says of a plain trend."""
    keys = {**HEADINGS, **{e.replace(" ", "_"): f"{e} [%]" for e in history.items["element"]}}
    return ["time=t [s]", *(f"{key}={name}" for key, name in keys.items() if key not in without)]


def write(path: Path, history: History, every: int = 1) -> Path:
    """A plain trend of every so many samples, with all digits."""
    found = signals(history)
    table = np.column_stack(list(found.values()))[::every]
    np.savetxt(path, table, delimiter=",", header=",".join(found), comments="", fmt="%.17g")
    return path


def kiln() -> History:
    """The run behind the example's trend: the kiln resists by 15 % more, the transmitter is noisy.
    """
    case = load(EXAMPLE)
    more = Event(at=0.0, process_resistance=1.15)
    noisy = case.control.transmitter.model_copy(update={"noise": 0.0005})
    return ran(case.model_copy(update={
        "timeline": (more, *case.timeline),
        "control": case.control.model_copy(update={"transmitter": noisy})}), "damper")


def kiln_rows(history: History) -> list[str]:
    """The lines of the example's trend: a second apart, in the local time of a night on which the
    clocks go back, with bad samples and a gap."""
    began = datetime(2025, 10, 26, 0, 52, tzinfo=UTC)
    at = np.arange(0.0, 900.0)
    taken = {name: np.interp(at, history.time, values) for name, values in signals(history).items()}
    lines = ["Archive of the control system, one value a second",
             "Time;FC-12 SP;FC-12 PV;FC-12 status;FC-12 OP;ZT-12;PT-12;JT-12",
             ";m3/h;m3/h;;%;%;mbar;kW"]
    for k in map(int, at):
        if 540 <= k < 565:  # the archive did not answer
            continue
        local = (began + timedelta(seconds=k)).astimezone(ZoneInfo("Europe/Oslo"))
        bad = 300 <= k < 303
        cells = [f"{local:%d.%m.%Y %H:%M:%S}", _number(3600.0 * taken["SP [m3/s]"][k], 0),
                 "no signal" if bad else _number(3600.0 * taken["PV [m3/s]"][k], 1),
                 "Bad" if bad else "Good", _number(taken["CO [%]"][k], 2),
                 _number(taken["outlet damper [%]"][k], 2),
                 _number(0.01 * taken["dp [Pa]"][k], 2), _number(1e-3 * taken["Pel [W]"][k], 2)]
        lines.append(";".join(cells))
    return lines


def _number(value: float, digits: int) -> str:
    """With a decimal comma."""
    return f"{value:.{digits}f}".replace(".", ",")
