"""Protection and supply: what is watched at every scan, what it does, how the motor comes back."""

from simfan.kernel import fan, network
from simfan.kernel.layout import (
    ABOVE,
    NOTED,
    OVERLOAD,
    STALL_MARGIN,
    SURGE,
    TICK,
    TRIP,
    UNNOTED,
    counted_nowhere,
)


@counted_nowhere
def supply(plant, state, cond, coef):
    """Whether each motor has its supply at this scan. Switched on again, every row is reset, and a
    drive takes the wheel over at the speed it has."""
    for i in range(plant.fans.each.size):
        if cond.power[i] > 0.0 and cond.power[i] != state.supply[i]:
            come_back(plant, state, i)
        state.supply[i] = cond.power[i]
        coef.fan[i].power = 1.0 if cond.power[i] > 0.0 and not tripped(plant, state) else 0.0


@counted_nowhere
def tripped(plant, state):
    """Whether a protection holds the motor off: from its trip to the next start."""
    for g in range(plant.guards.size):
        if plant.guards[g].effect == TRIP and state.guard[g].holds == 1:
            return True
    return False


@counted_nowhere
def come_back(plant, state, i):
    """Every row reset; the reference of a drive where the wheel turns."""
    for g in range(plant.guards.size):
        state.guard[g].waits = plant.guards[g].bypass
        state.guard[g].holds = 0
        if state.guard[g].acts == 1:
            state.guard[g].acts = 0
            note(state, g, 0)
    a = plant.rotors.each[i].actuator
    if a >= 0:
        speed = plant.network.volume.size + plant.network.inertance.size + i
        state.stem[a] = max(state.moving[speed], 0.0)
        state.position[a] = state.stem[a]


@counted_nowhere
def watch(plant, coef, probe, state, tick):
    """Count, act where it has lasted long enough, reset what resets by itself."""
    scan = plant.step * plant.scan_steps
    for g in range(plant.guards.size):
        cause = is_there(plant, coef, probe, state, g, tick, scan)
        if state.guard[g].waits > 0.0:
            state.guard[g].waits -= scan
            forget(plant, state, g)
            cause = False
        if cause and state.guard[g].acts == 0:
            state.guard[g].acts = 1
            state.guard[g].holds = 1
            note(state, g, 1)
        state.guard[g].gone = 0.0 if cause else state.guard[g].gone + scan
        if (state.guard[g].acts == 1 and not cause and plant.guards[g].reset >= 0.0
                and state.guard[g].gone >= plant.guards[g].reset):
            state.guard[g].acts = 0
            if plant.guards[g].effect != TRIP:
                state.guard[g].holds = 0
            note(state, g, 0)


@counted_nowhere
def is_there(plant, coef, probe, state, g, tick, scan):
    """Whether the cause of a row is there and has lasted its time.

    Overload: θ̇ = (m² − θ)/τ for a load m, acting at θ ≥ k²: from cold after τ·ln(m²/(m² − k²)).
    Stall and surge are not looked for while the motor is off.
    """
    guard = plant.guards[g]
    if coef.fan[0].power == 0.0 and (guard.counts == SURGE or guard.place == STALL_MARGIN):
        forget(plant, state, g)
        return False
    if guard.counts == SURGE:
        return surges(plant, coef, probe, state, g, tick, scan)
    value = network.guarded(plant, coef, probe, g)
    if guard.counts == OVERLOAD:
        state.guard[g].beyond += scan / guard.delay * (value * value - state.guard[g].beyond)
        return state.guard[g].beyond >= guard.limit * guard.limit
    beyond = ((guard.counts == ABOVE and value > guard.limit)
              or (guard.counts != ABOVE and value < guard.limit))
    state.guard[g].beyond = state.guard[g].beyond + scan if beyond else 0.0
    return beyond and state.guard[g].beyond >= guard.delay


@counted_nowhere
def forget(plant, state, g):
    """What a row has counted so far; not the heat."""
    if plant.guards[g].counts == SURGE:
        state.guard[g].seen = 0
        state.guard[g].falling = 0
        for k in range(state.cycles.shape[1]):
            state.cycles[g, k] = -1
    elif plant.guards[g].counts != OVERLOAD:
        state.guard[g].beyond = 0.0


@counted_nowhere
def surges(plant, coef, probe, state, g, tick, scan):
    """Whether so many surge cycles have ended within the window, by the judge's own definition.

    A cycle is a fall of the flow by `swing` from its last maximum to a minimum left of the stall
    line, then a rise by as much; no wider, at `swing` above its bottom, than the flow remembered.
    """
    watch = state.guard[g]
    flow = probe.fan[plant.guards[g].index].flow
    swing, size = plant.guards[g].swing, state.flows.shape[1]
    if watch.seen == 0:
        watch.top = flow
    state.flows[g, watch.seen % size] = flow
    watch.seen += 1
    if watch.falling == 1 and flow - watch.bottom >= swing:
        if watch.left == 1 and width(state.flows[g], watch.seen, watch.bottom + swing,
                                     plant.guards[g].longest):
            state.cycles[g, watch.ended % state.cycles.shape[1]] = tick
            watch.ended += 1
        watch.falling = 0
        watch.top = flow
    elif watch.falling == 1 or watch.top - flow >= swing:
        if watch.falling == 0 or flow < watch.bottom:
            watch.bottom = flow
            watch.left = 1 if flow < stall_line(plant, coef, probe, g) else 0
        watch.falling = 1
    else:
        watch.top = max(watch.top, flow)
    return within(plant, state.cycles[g], g, tick, scan)


@counted_nowhere
def stall_line(plant, coef, probe, g):
    """Flow of the stall line of the fan that a row looks at [m³/s]."""
    k = plant.guards[g].index
    return fan.stall_flow(plant.fans, k, probe.fan[k].speed, coef.fan[k].opening)


@counted_nowhere
def width(flows, seen, level, longest):
    """Whether the flow was at the level no longer ago than `longest` scans; the newest is there."""
    for back in range(1, min(seen, flows.size)):
        if flows[(seen - 1 - back) % flows.size] >= level:
            return back <= longest
    return False


@counted_nowhere
def within(plant, cycles, g, tick, scan):
    """Whether `limit` cycles ended within the window before this tick."""
    count = 0
    for k in range(cycles.size):
        if cycles[k] >= 0 and (tick - cycles[k]) * plant.step < plant.guards[g].window:
            count += 1
    return count >= plant.guards[g].limit


@counted_nowhere
def note(state, g, acts):
    """Into the list of what rows did, or counted where it is full."""
    k = state.counts[NOTED]
    if k < state.acted.size:
        state.acted[k].tick = state.counts[TICK]
        state.acted[k].guard = g
        state.acted[k].acts = acts
        state.counts[NOTED] = k + 1
    else:
        state.counts[UNNOTED] += 1
