"""Protection and supply: what is watched at every scan, what it does, how the motor comes back."""

from simfan.kernel import network
from simfan.kernel.layout import ABOVE, OVERLOAD, TRIP, counted_nowhere


@counted_nowhere
def supply(plant, state, cond, coef):
    """Whether each motor has its supply at this scan. Switched on again, all trips are reset, and a
    drive takes the wheel over at the speed it has."""
    for i in range(plant.fans.each.size):
        if cond.power[i] > 0.0 and cond.power[i] != state.supply[i]:
            come_back(plant, state, i)
        state.supply[i] = cond.power[i]
        coef.fan[i].power = 1.0 if cond.power[i] > 0.0 and not tripped(plant, state) else 0.0


@counted_nowhere
def tripped(plant, state):
    """Whether a protection holds the motor off."""
    for g in range(plant.guards.size):
        if plant.guards[g].effect == TRIP and state.guard[g].acts == 1:
            return True
    return False


@counted_nowhere
def come_back(plant, state, i):
    """Trips reset; the reference of a drive where the wheel turns."""
    for g in range(plant.guards.size):
        state.guard[g].waits = plant.guards[g].bypass
        if plant.guards[g].effect == TRIP:
            state.guard[g].acts = 0
    a = plant.rotors.each[i].actuator
    if a >= 0:
        speed = plant.network.volume.size + plant.network.inertance.size + i
        state.stem[a] = max(state.moving[speed], 0.0)
        state.position[a] = state.stem[a]


@counted_nowhere
def watch(plant, coef, probe, state, tick):
    """Count, and act where it has lasted long enough.

    Overload: θ̇ = (m² − θ)/τ for a load m, acting at θ ≥ k²: from cold after τ·ln(m²/(m² − k²)).
    """
    scan = plant.step * plant.scan_steps
    for g in range(plant.guards.size):
        guard, value = plant.guards[g], network.guarded(plant, coef, probe, g)
        if guard.counts == OVERLOAD:
            state.guard[g].beyond += scan / guard.delay * (value * value - state.guard[g].beyond)
            acts = state.guard[g].beyond >= guard.limit * guard.limit
        else:
            beyond = ((guard.counts == ABOVE and value > guard.limit)
                      or (guard.counts != ABOVE and value < guard.limit))
            state.guard[g].beyond = state.guard[g].beyond + scan if beyond else 0.0
            acts = beyond and state.guard[g].beyond >= guard.delay
        if state.guard[g].waits > 0.0:
            state.guard[g].waits -= scan
            state.guard[g].beyond = state.guard[g].beyond if guard.counts == OVERLOAD else 0.0
            acts = False
        if acts and state.guard[g].acts == 0:
            state.guard[g].acts = 1
            if state.guard[g].tick < 0:
                state.guard[g].tick = tick
