"""The operating point for a wanted flow or for given outputs: where a run starts."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import root

from simfan.assemble import Assembled
from simfan.assemble.ductwork import FAR_END
from simfan.kernel import entry, layout
from simfan.kernel.holding import BEYOND, NO_FLOW_AT_LEAST, NO_FLOW_AT_MOST
from simfan.kernel.layout import Schedule, State
from simfan.steady.bench import Array, Bench
from simfan.steady.search import NoBalance, Search, Standing

HELD_AT = 31
"""Flows at which a search for a held value looks first."""
TOLERANCE = 1e-9
"""On the scaled imbalance of a point that is called balanced."""


@dataclass(frozen=True)
class Rest:
    """A steady operating point."""

    x: Array
    """Integrated states."""
    outputs: Array
    """(n_loops,) controller outputs, 0 to 1."""
    held: float
    """True value of what the loop holds [m³/s]."""
    reached: bool
    """False where the wanted value is out of reach and the output rests at its limit."""


def hold(assembled: Assembled, wanted: float, schedule: Schedule | None = None,
         scan: int = 0) -> Rest:
    """The point where the loop's value is as wanted, stable or not; else the nearer limit.

    Of several outputs that would do, the highest.
    """
    search = Search(assembled, schedule, scan)
    how, output, flow = search.holding(wanted, HELD_AT)
    if how in (NO_FLOW_AT_LEAST, NO_FLOW_AT_MOST):
        raise NoBalance("no steady flow at a controller output of "
                        f"{0 if how == NO_FLOW_AT_LEAST else 100} %")
    if how == BEYOND:
        ends = [settle(assembled, u, schedule, scan, reached=False) for u in (0.0, 1.0)]
        return min(ends, key=lambda end: abs(end.held - wanted))
    position = search.placed(np.array([output]))
    return _rest(search, search.standing(position, np.array([flow]), output))


def settle(assembled: Assembled, output: float, schedule: Schedule | None = None, scan: int = 0,
           reached: bool = True) -> Rest:
    """The statically stable point with the largest flow at this output."""
    search = Search(assembled, schedule, scan)
    found = search.points_at(output)
    if not len(found):
        raise NoBalance(f"no steady flow at a controller output of {100.0 * output:.4g} %")
    return _rest(search, found[-1:], reached)


def held(search: Search, at: Standing) -> Array:
    """(n,) true value of what the first loop holds at these points."""
    return search.samples(at)["true_value"][:, 0]


def _rest(search: Search, at: Standing, reached: bool = True) -> Rest:
    """The first of these points."""
    x = at.x[0].copy()
    x[search.bench.n:] = 0.0
    return Rest(x, np.array([at.output[0]]), float(held(search, at)[0]), reached)


def rest_near(assembled: Assembled, outputs: Array, guess: Array) -> Rest:
    """The steady point of any network near a guess of pressures, flows and speeds.

    Raises NoBalance where the search does not end on one.
    """
    bench = Bench(assembled)
    bench.stand(outputs)
    found = root(bench.residual, bench.scaled(guess), method="hybr", options={"xtol": 1e-13})
    if np.max(np.abs(bench.residual(found.x))) > TOLERANCE:
        raise NoBalance(f"no steady point near the guess: {found.message}")
    return Rest(bench.unscaled(found.x).copy(), outputs, bench.held(), True)


def is_stable(assembled: Assembled, rest: Rest) -> bool:
    """Whether small disturbances of the plant die out with its elements standing still: all
    eigenvalues have negative real parts."""
    bench = Bench(assembled, lagged=True)
    bench.stand(rest.outputs)
    x = rest.x.copy()
    bench.slopes(x)
    x[bench.off.rise:bench.off.reading] = bench.probe.fan.rise
    integrated = bench.jacobian(x)
    lagging = [i for i in range(len(integrated)) if np.any(integrated[i])]
    return bool(np.max(np.linalg.eigvals(integrated[np.ix_(lagging, lagging)]).real) < 0.0)


def starting_state(assembled: Assembled, start: Rest, setpoint: float) -> State:
    """The run's state at tick zero: settled, controllers at rest, queues full of the same."""
    plant = assembled.plant
    bench = Bench(assembled)
    bench.stand(start.outputs)
    x = start.x.copy()
    bench.slopes(x)
    state = layout.rest(plant)
    off = bench.off
    x[off.rise:off.reading] = bench.probe.fan.rise
    state.moving[:] = x
    state.volume.anchor[:] = x[:off.flow]
    state.stem[:] = state.position[:] = state.demand[:] = bench.positions(start.outputs)
    state.demand_queue[:, :] = state.demand[:, None]
    for g in np.flatnonzero(plant.guards.counts == layout.OVERLOAD):
        state.guard[g].beyond = entry.guarded(plant, bench.coef, bench.probe, g) ** 2
    for i in range(plant.loops.size):
        state.loop[i].reading = state.moving[off.reading + i] = bench.sensed(i)
    state.loop.output[:] = _outputs(assembled, start, state)
    for i in range(plant.loops.size):
        if plant.transmitters.place[i] == layout.OUTPUT_OF:
            state.loop[i].reading = state.loop[plant.transmitters.index[i]].output
        state.reading_queue[i, :] = state.loop[i].reading
        _settle_controller(assembled, state, i, start.reached,
                           setpoint if i == 0 else float(assembled.base.setpoint[0, i]))
    return state


def standing_state(assembled: Assembled, plan: Schedule) -> State:
    """The state at tick zero of a run that starts at standstill: wheel and air still, no flow, the
    volume at the pressure behind the process, elements where an output of zero puts them, motor
    cold."""
    plant, bench = assembled.plant, Bench(assembled, plan)
    state, off = layout.rest(plant), bench.off
    state.moving[:off.flow] = state.volume.anchor[:] = bench.cond.pressure[FAR_END]
    shut = bench.positions(np.zeros(plant.loops.size))
    drives = plant.rotors.each.actuator[plant.rotors.each.actuator >= 0]
    shut[drives] = 0.0
    state.stem[:] = state.position[:] = state.demand[:] = shut
    state.demand_queue[:, :] = shut[:, None]
    state.shutter[:] = np.nan_to_num(plan.shutter[0], nan=0.0)
    state.supply[:] = plan.power[0]
    entry.stand(plant, bench.cond, shut, bench.coef, bench.probe)
    bench.slopes(state.moving)
    for i in range(plant.loops.size):
        state.loop[i].reading = state.moving[off.reading + i] = bench.sensed(i)
        if plant.transmitters.place[i] == layout.OUTPUT_OF:
            state.loop[i].reading = state.loop[plant.transmitters.index[i]].output
        state.reading_queue[i, :] = state.loop[i].reading
    return state


def _outputs(assembled: Assembled, start: Rest, state: State) -> Array:
    """(n_loops,) outputs that leave the elements where they rest."""
    plant = assembled.plant
    act, loops = plant.actuators, plant.loops
    outputs = np.resize(start.outputs, loops.size)
    for i in range(loops.size) if assembled.resting is not None else ():
        moved = np.flatnonzero(act.each.loop == i)
        if moved.size:
            a = moved[0]
            outputs[i] = np.interp(state.demand[a], act.demand[a], act.output[a])
    for i in range(loops.size):
        if (k := loops.inner[i]) >= 0:
            outputs[i] = ((state.loop[k].reading - plant.transmitters.low[k])
                          / plant.transmitters.span[k])
        elif (k := loops.overrides[i]) >= 0:
            outputs[i] = outputs[k]
    return outputs


def _settle_controller(assembled: Assembled, state: State, i: int, reached: bool, setpoint: float
                       ) -> None:
    """The integral that keeps the output where it is; an override has all its reset done."""
    plant = assembled.plant
    loop, memory = plant.loops[i], state.loop[i]
    low, span = plant.transmitters.low[i], plant.transmitters.span[i]
    memory.unlimited = memory.output
    memory.aim = (state.loop[loop.source].output if loop.source >= 0 else (setpoint - low) / span)
    value = (memory.reading - low) / span
    if loop.feed != layout.NOTHING:
        memory.feed = np.interp(memory.aim if loop.feed == layout.SETPOINT else value,
                                *plant.feeds[i])
    if loop.overrides >= 0 or not reached:
        memory.integral = memory.output - memory.feed if np.isfinite(loop.reset) else 0.0
    else:
        error = loop.weight * memory.aim - value
        memory.integral = memory.output - loop.gain * error - memory.feed
