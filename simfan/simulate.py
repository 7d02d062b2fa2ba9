"""One run: settle, then advance from one instant to the next until the end."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from math import pi

import numpy as np

from simfan.assemble import Assembled, assemble
from simfan.assemble.control import controller, raises
from simfan.assemble.schedule import schedule
from simfan.assemble.transmitter import span
from simfan.errors import RunError
from simfan.history import Audit, Facts, FanMap, Happening, History
from simfan.kernel import advance, entry, layout
from simfan.kernel.layout import (
    CULPRIT,
    DONE,
    STIFF,
    TICK,
    Plant,
    Schedule,
    State,
    Traces,
)
from simfan.plant.case import Case, Strategy
from simfan.plant.events import Event
from simfan.plant.procedure_steps import lines
from simfan.plant.strategy import has_gains
from simfan.protected import guarded, happened, raised
from simfan.scenario import assumed as defaults
from simfan.steady.balance import Rest, hold, is_stable, standing_state, starting_state
from simfan.steady.pace import Pace, helmholtz, pace
from simfan.steady.tables import carried, with_tables
from simfan.timeline import Live, Played, play
from simfan.units import show

Progress = Callable[[str, float], None]
PUSH = 1e-3
"""A start that is unstable would stand still for long on exact numbers: its flow is moved by so
much to let it show."""
TURNED_BACK = 1e-3
"""Of rated speed; less is not told."""
SEGMENTS = 40
"""The run stops this often to tell how far it is."""


def prepare(case: Case, name: str, step: float | None = None,
            assumption: str = "nominal") -> tuple[Assembled, Pace]:
    """The strategy assembled at the step and record interval it will run at."""
    scan = case.control.scan
    first = with_tables(case, name, assemble(case, name, scan / 12.0, scan, assumption))
    values = sorted({float(v) for v in (case.run.first_setpoint,
                                        *(e.setpoint for e in case.timeline)) if v is not None})
    going = pace(first, scan, [values[0], values[-1]], step or case.run.step, case.run.record)
    return carried(first, assemble(case, name, going.step, going.record, assumption)), going


def simulate(case: Case, name: str, progress: Progress | None = None,
             step: float | None = None, assumption: str = "nominal") -> History:
    """Run one strategy through the case's timeline.

    `step` [s] overrides the inner step; `assumption` is what is taken for the parts of the curve
    that the maker does not give. Raises RunError where a controller in automatic has no gains.
    """
    if name in case.untuned and not case.by_hand:
        raise RunError(f"{name} gives no gains, so it cannot run in automatic: tune it first, or "
                       f"give strategies.{name}.controller")
    assembled, going = prepare(case, name, step, assumption)
    played, plan, start, unstable, state = settled(case, assembled)
    before = layout.copy(state)
    traces = layout.traces(assembled.plant)

    def told(share: float) -> None:
        if progress:
            progress(name, share)

    if case.procedures:
        played, plan, code = with_procedures(case, assembled, state, traces, told)
    else:
        code = _through(assembled.plant, plan, state, traces, told)
    history = _history(case, name, assembled, going, played, plan, start, unstable,
                       before, state, traces, code)
    again = partial(simulate, quiet(case), name, step=step, assumption=assumption)
    return replace(history, without_noise=again) if case.control.transmitter.noise else history


def quiet(case: Case) -> Case:
    """The case without its transmitter's noise."""
    transmitter = case.control.transmitter.model_copy(update={"noise": 0.0})
    control = case.control.model_copy(update={"transmitter": transmitter})
    return case.model_copy(update={"control": control})


def settled(case: Case, assembled: Assembled, start: Rest | None = None
            ) -> tuple[Played, Schedule, Rest, bool, State]:
    """What the timeline plays, and the state at time zero: at rest where the case starts, pushed a
    little where that point is unstable; or at standstill. `start` is the rest at the first
    setpoint, where it is known already."""
    played = play(case)
    plan = schedule(assembled, case, played.dials)
    start = start or hold(assembled, case.run.first_setpoint)
    if case.run.from_standstill:
        return played, plan, start, False, standing_state(assembled, plan)
    unstable = not is_stable(assembled, start)
    state = starting_state(assembled, start, case.run.first_setpoint)
    if unstable:
        state.moving[entry.begins(assembled.plant).flow] *= 1.0 + PUSH
    return played, plan, start, unstable, state


def not_run(case: Case, name: str) -> History:
    """A strategy where it starts, one sample, for want of gains to run it with."""
    start = prepare(case, name)[0]
    held = Event(at=0.0, manual_output=float(hold(start, case.run.first_setpoint).outputs[0]))
    short = case.run.model_copy(update={"duration": case.control.scan, "setpoint": None,
                                        "starts_at": case.run.first_setpoint})
    begun = simulate(case.model_copy(update={
        "timeline": (held,), "run": short, "procedures": None}), name)
    facts = replace(begun.facts, duration_s=case.run.duration, changes=(), events_at_s=())
    return replace(begun, time=begun.time[:1], log=(), facts=facts,
                   traces={k: v[:1] for k, v in begun.traces.items()})


def _through(plant: Plant, plan: Schedule, state: State, traces: Traces,
             progress: Callable[[float], None]) -> int:
    """Segment by segment to the end, or to where the numbers break."""
    for until in np.linspace(0, plant.last_tick, SEGMENTS + 1).astype(int)[1:]:
        code = advance.advance(plant, plan, state, traces, int(until))
        progress(until / plant.last_tick)
        if code != DONE:
            return int(code)
    return DONE


def with_procedures(case: Case, assembled: Assembled, state: State, traces: Traces,
                    told: Callable[[float], None] = lambda share: None
                    ) -> tuple[Played, Schedule, int]:
    """From one instant that anybody waits for to the next: the slower way."""
    plant, live = assembled.plant, Live(case, assembled, state, traces)
    code = DONE
    while code == DONE and state.counts[TICK] < plant.last_tick:
        live.happen()
        until = min(live.next_scan * plant.scan_steps, plant.last_tick)
        code = int(advance.advance(plant, live.plan, state, traces, until))
        told(until / plant.last_tick)
    return live.finished(), live.plan, code


def _history(case: Case, name: str, assembled: Assembled, going: Pace, played: Played,
             plan: Schedule, start: Rest, unstable: bool, before: State, state: State,
             traces: Traces, code: int) -> History:
    """All that the run left behind, up to where it stopped."""
    plant = assembled.plant
    n = plant.last_tick // plant.record_steps + 1
    if code != DONE:
        n = int(state.counts[TICK]) // plant.record_steps
    time = np.arange(n) * (plant.record_steps * plant.step)
    audit = Audit(
        step_s=plant.step, steps=int(state.counts[TICK]),
        fastest_time_constant_s=going.fastest,
        mass_balance_residual=_mass_residual(plant, plan.temperature, before, state),
        stiff_steps=int(state.counts[STIFF]),
        stopped=None if code == DONE else _stopped(assembled, state))
    hand = assembled.loops.hand if assembled.loops else 0
    log = (*played.log, *happened(case, plant.step, state), *raised(
        case, plant.step, state, time, traces.controller_output[:n, hand]))
    if audit.stopped:
        log += (Happening(float(state.counts[TICK] * plant.step), audit.stopped),)
    facts = _facts(case, name, assembled, played, start, unstable)
    return History(
        time=time,
        traces={k: v[:n] for k, v in traces._asdict().items()},
        items=assembled.items, log=tuple(sorted(log, key=lambda h: h.at_s)),
        facts=replace(facts, protection=guarded(case, plant.step, state),
                      assumed=(*facts.assumed, *_turned_back(traces.speed_ratio[:n]))),
        audit=audit)


def _mass_residual(plant: Plant, temperature: np.ndarray, before: State, after: State) -> float:
    """|stored − (in − out)| over all that passed, worst volume [1].

    Stored is C·Δp with C = V/c², between changes of the volume's temperature.
    """
    off, net, gas = entry.begins(plant), plant.network, plant.gas
    moved = after.moving[off.moved:] - before.moving[off.moved:]
    last = temperature[int(after.counts[TICK]) // plant.scan_steps]
    worst = 0.0
    for i in range(net.volume.size):
        capacity = net.volume[i] / (gas.gamma * gas.R * last[i])
        stored = after.volume[i].stored + capacity * (after.moving[i] - after.volume[i].anchor)
        net_in = moved[net.branch.last == i].sum() - moved[net.branch.first == i].sum()
        passed = np.abs(moved[(net.branch.last == i) | (net.branch.first == i)]).sum()
        worst = max(worst, abs(stored - net_in) / max(passed, 1e-9))
    return float(worst)


def _stopped(assembled: Assembled, state: State) -> str:
    """Which state lost its number, and when."""
    plant, items = assembled.plant, assembled.items
    off, i = entry.begins(plant), int(state.counts[CULPRIT])
    names = ([f"pressure of {n}" for n in items["node"][:off.flow]]
             + [f"flow of branch {n}" for n in items["branch"][:off.speed - off.flow]]
             + [f"{what} of {n}" for what in ("speed", "pressure rise") for n in items["fan"]]
             + [f"reading of {n}" for n in items["loop"]])
    what = names[i] if i < len(names) else "mass moved"
    return (f"the run stopped at {state.counts[TICK] * plant.step:.4g} s: {what} is no longer a "
            f"finite number; try a shorter run.step than {plant.step:.4g} s")


def _facts(case: Case, name: str, assembled: Assembled, played: Played, start: Rest,
           unstable: bool) -> Facts:
    """What a judge must know beside the traces."""
    strategy, fan = case.strategies[name], case.fan
    parts = assembled.loops.parts if assembled.loops else ()
    return Facts(
        title=case.title, strategy=name, method=strategy.method, holds=case.control.holds,
        structure=strategy.structure,
        loop_kinds=tuple(p.kind for p in parts),
        other_loops={p.name: {"gain": abs(p.loop["gain"]), "reset_s": p.loop["reset"]}
                     for p in parts[1:] if p.loop["gain"]},
        limiting=tuple(p.name for p in parts if p.limits),
        duration_s=case.run.duration,
        record_s=assembled.plant.record_steps * assembled.plant.step,
        rated_speed=fan.rated.speed, max_safe_speed_ratio=fan.max_safe_speed / fan.rated.speed,
        motor_rating=case.motor.rating, price_per_kwh=case.energy.price_per_kwh,
        currency=case.energy.currency, fan_map=_fan_map(case, assembled),
        changes=played.changes, events_at_s=tuple(h.at_s for h in played.log if h.short),
        tuning=_tuning(case, strategy), held_kind=case.control.held_kind,
        known_flow=(assembled.curve.first_flow, assembled.curve.last_flow),
        sequence={e.name: e.sequence for e in assembled.elements},
        assumed=(*_defaults(case, name), *assembled.curve.assumed, *_rounded(assembled, case),
                 *_pushed(unstable)),
        findings=_findings(case, start),
        procedures=played.procedures,
        procedure_steps={k: tuple(lines(s)) for k, s in case.procedure_steps.items()},
        natural_period_s=2.0 * pi / helmholtz(assembled),
        noise=case.control.transmitter.noise, square_root=case.control.transmitter.square_root)


def _defaults(case: Case, name: str) -> list[str]:
    """Defaults of the scenario that bear on this strategy."""
    return [line for line in defaults(case)
            if not line.startswith("strategies.") or line.startswith(f"strategies.{name}.")]


def _pushed(unstable: bool) -> list[str]:
    """Said when the run does not start at rest."""
    return [f"the starting point is unstable; its flow was moved by {100.0 * PUSH:g} % so that "
            "this shows (assumed)"] if unstable else []


def _turned_back(speed: np.ndarray) -> list[str]:
    """Said when the air turned a standing wheel backwards."""
    lowest = float(speed.min(initial=0.0))
    return [f"the air turned the wheel backwards, to {-100.0 * lowest:.3g} % of rated speed: half "
            "its pressure at shut-off, the torque of shut-off against the turning (assumed, from "
            "memory of radial pumps; not validated)"] if lowest < -TURNED_BACK else []


def _rounded(assembled: Assembled, case: Case) -> tuple[str, ...]:
    """Dead times that do not fall on whole steps, as they were run."""
    plant = assembled.plant
    times = [(e.name, e.dead_time, int(d)) for e, d in
             zip(assembled.elements, plant.actuators.each.delay, strict=True)]
    times.append(("transmitter", case.control.transmitter.dead_time,
                  int(plant.transmitters[0].delay)))
    return tuple(f"dead time of {who}: {given:.6g} s is run as {n * plant.step:.6g} s, "
                 f"{n} steps" for who, given, n in times
                 if abs(given - n * plant.step) > 1e-9)


def _tuning(case: Case, strategy: Strategy) -> dict[str, float | str]:
    """The tuning as the standard form, with spans and action."""
    c = controller(case, strategy)
    low, width = span(case)
    gains: dict[str, float | str] = {
        "form": "standard", "gain": c.standard.gain, "reset_s": c.standard.reset,
        "derivative_s": c.standard.derivative, "derivative_filter": c.derivative_filter}
    return {**(gains if has_gains(case.control, strategy) else {}),
            "setpoint_weight": c.setpoint_weight, "reset_from": c.reset_from,
            "action": "reverse" if raises(case, strategy) else "direct",
            "span_low": low, "span_high": low + width, "scan_s": case.control.scan,
            **({"full_travel_s": c.full_travel} if c.full_travel else {})}


def _findings(case: Case, start: Rest) -> tuple[str, ...]:
    """What the strategy cannot do at the start."""
    if start.reached:
        return ()
    kind = case.control.held_kind
    wanted = show(float(case.run.first_setpoint), kind, digits=4)
    return (f"the starting setpoint of {wanted} is out of reach: at "
            f"{100.0 * start.outputs[0]:.4g} % controller output the "
            f"{case.control.holds} is {show(start.held, kind, digits=4)}",)


def _fan_map(case: Case, assembled: Assembled) -> FanMap:
    """Curve (reverse flow included) and system curve for the picture."""
    curve, process = assembled.curve, case.process
    flow = np.linspace(float(curve.pressure.x[0]), curve.last_flow, 161)
    rise = process.design.pressure - process.fixed_pressure
    forward = np.linspace(0.0, curve.last_flow, 121)
    system = process.fixed_pressure + rise * (forward / process.design.flow) ** 2
    return FanMap(tuple(flow.tolist()), tuple(curve.pressure(flow).tolist()),
                  tuple(forward.tolist()), tuple(system.tolist()), curve.stall_flow,
                  curve.stall_basis, case.fan.rated.density)


def against_half_step(case: Case, history: History) -> History:
    """The same history with the largest difference of any trace against half the step noted.

    As a share of each trace's own range over the run.
    """
    finer = simulate(case, history.facts.strategy, step=0.5 * history.audit.step_s)
    n = min(history.time.size, finer.time.size)
    worst = 0.0
    for name, values in history.traces.items():
        for a, b in zip(values[:n].T, finer.traces[name][:n].T, strict=True):
            extent = float(np.ptp(b)) or float(np.max(np.abs(b))) or 1.0
            worst = max(worst, float(np.nanmax(np.abs(a - b), initial=0.0)) / extent)
    return replace(history, audit=replace(history.audit, half_step_difference=worst))
