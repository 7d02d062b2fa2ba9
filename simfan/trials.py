"""Every tuning of an answer tried in a run of the whole plant, with all its limits: at mid-range a
setpoint step, and then a step of the process's resistance."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import ceil

from simfan.errors import SimfanError
from simfan.history import History
from simfan.loop_answer import LoopAnswer, LoopRun, LoopTuning, StrategyLoop
from simfan.metrics import Change
from simfan.metrics.columns import computed
from simfan.metrics.tracking import tracking, window
from simfan.plant.case import Case
from simfan.plant.control import Controller
from simfan.plant.events import Event
from simfan.simulate import simulate
from simfan.units import show

STEP = 0.1
"""Of the range: the setpoint step. Our choice."""
RESISTANCE = 1.1
"""Of the design resistance: the load step. Our choice."""
QUIET = 5.0
"""Before the first step [s]."""
FOLLOWED = 8.0
"""So many times the slowest Ti/(Kc·K), and the longest lag and dead time, after each step."""
SHORTEST, LONGEST = 30.0, 600.0
"""Of what follows a step [s]."""
OF_A_TUNING = ("form", "gain", "proportional_band", "reset", "repeats", "derivative",
               "derivative_filter", "integral_gain", "derivative_gain")
NO_ROOM = "no run was made: the setpoint step does not lie within the range"
Progress = Callable[[str, float], None]


def with_runs(case: Case, answer: LoopAnswer, progress: Progress | None = None) -> LoopAnswer:
    """The answer with a run of every tuning. A run that cannot be made is a finding."""
    middle, step = 0.5 * (answer.low + answer.high), STEP * (answer.high - answer.low)
    first, second = _instants(answer)
    found = []
    for k, loop in enumerate(answer.strategies):
        found.append(_tried(case, loop, (middle, middle + step), (first, second)))
        if progress:
            progress(loop.name, (k + 1) / len(answer.strategies))
    kind = answer.held_kind
    return replace(answer, strategies=tuple(found), runs=(
        f"a setpoint step from {show(middle, kind)} to {show(middle + step, kind)}, and "
        f"{second - first:g} s later a step of the process resistance by "
        f"{100.0 * (RESISTANCE - 1.0):.0f} %"))


def _tried(case: Case, loop: StrategyLoop, values: tuple[float, float],
           instants: tuple[float, float]) -> StrategyLoop:
    tunings, findings = [], list(loop.findings)
    for tuning in loop.tunings:
        try:
            history = simulate(trial(case, loop.name, tuning, values, instants), loop.name)
            tuning = replace(tuning, run=_measured(history, case.criteria.band, *instants))
        except SimfanError as why:
            findings.append(f"{loop.name}, {tuning.name}: no run was made: {why}")
        tunings.append(tuning)
    return replace(loop, tunings=tuple(tunings), findings=tuple(findings))


def _instants(answer: LoopAnswer) -> tuple[float, float]:
    """When the setpoint and the resistance step, the same for all [s]; on scans."""
    slowest = [SHORTEST / FOLLOWED]
    for loop in answer.strategies:
        here = loop.points[len(loop.points) // 2]
        if here.stable and here.gain and here.lag is not None:
            slowest += [here.lag + (here.dead_time or 0.0),
                        *(t.reset / (t.gain * abs(here.gain)) for t in loop.tunings)]
    followed = min(FOLLOWED * max(slowest), LONGEST)
    first = _on_scan(QUIET, answer.scan)
    return first, first + _on_scan(10.0 * ceil(followed / 10.0), answer.scan)


def _on_scan(time: float, scan: float) -> float:
    return round(scan * ceil(time / scan - 1e-9), 9)


def trial(case: Case, name: str, tuning: LoopTuning, values: Sequence[float],
          instants: Sequence[float]) -> Case:
    """The case with one strategy, this tuning, and nothing but the two steps."""
    first, second = instants
    strategy = case.strategies[name].model_copy(update={"controller": typed_in(case, name, tuning)})
    run = case.run.model_copy(update={"duration": 2.0 * second - first, "starts_at": values[0],
                                       "setpoint": None,
                                      "step": None, "record": None})
    return case.model_copy(update={
        "strategies": {name: strategy}, "run": run, "procedures": None,
        "timeline": (Event(at=first, setpoint=values[1]),
                     Event(at=second, process_resistance=RESISTANCE))})


def typed_in(case: Case, name: str, tuning: LoopTuning) -> Controller:
    """The strategy's controller with this tuning of the standard form, all else as it is."""
    given = case.control.given(case.strategies[name].controller)
    kept = {key: getattr(given, key) for key in given.model_fields_set
            if key not in OF_A_TUNING} if given else {}
    if tuning.derivative > 0.0:
        kept |= {"derivative": tuning.derivative, "derivative_filter": tuning.derivative_filter}
    if tuning.full_travel:
        kept |= {"full_travel": tuning.full_travel}
    return Controller(gain=tuning.gain, reset=tuning.reset, **kept)


def _measured(history: History, band: float, first: float, second: float) -> LoopRun:
    """By the measures that judge every run."""
    run = computed(history)
    change = tracking(run, band).changes[0]
    end = float(run.time[-1])
    load = tracking(_part(run, second, end), band).whole if end > second else None
    return LoopRun(
        time=run.time, setpoint=run.trace("setpoint"), value=run.trace("true_value"),
        output=run.trace("controller_output"), step_at=first, load_at=second,
        setpoint_iae=change.iae_percent_s, overshoot=change.overshoot_percent,
        settling=change.settling_time_s,
        load_iae=load.iae_percent_s if load else None,
        load_deviation=load.largest_deviation_percent if load else None,
        percent_of=tracking(run, band).percent_of,
        reasons=_reasons(change, load is None))


def _reasons(change: Change, stopped: bool) -> dict[str, str]:
    """Why a number is None, by its name in the JSON."""
    found = {name: change.reasons[old] for name, old in (
        ("setpoint_iae_percent_s", "iae_percent_s"), ("overshoot_percent", "overshoot_percent"),
        ("settling_time_s", "settling_time_s")) if old in change.reasons}
    return found | (dict.fromkeys(("load_iae_percent_s", "load_largest_deviation_percent"),
                                  "the run stopped before the load step") if stopped else {})


def _part(run: History, since: float, until: float) -> History:
    part = window(run.time, since, until, is_last=True)
    return replace(run, time=run.time[part],
                   traces={name: values[part] for name, values in run.traces.items()})
