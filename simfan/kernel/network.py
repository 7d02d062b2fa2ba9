"""The air path: slopes of every integrated state.

    volume node      dp/dt = (c²/V)·(Σṁ_in − Σṁ_out)
    inert branch     (ΣL/A)·dṁ/dt = p_first − p_last + Σ(rise) − Σ(loss)
    other branch     ṁ from the pressures at once
    rotor            J·dω/dt = T_motor − T_wheel
    pressure lag     τ·dΔp/dt = Δp_steady − Δp
    reading          lag·dy/dt = true value − y

Density is walked along a chain, p/(RT) at each element, so the wheel sees the air as thinned by
what stands before it. A chain keeps the temperature of the node its air comes from: the
temperature rise in the wheel is neglected.
"""

import math

from simfan.kernel import damper, drive, fan, inlet, shutter, table
from simfan.kernel.layout import (
    ACTUAL_FLOW,
    AS_IT_IS,
    AS_ROOT_DENSITY,
    DAMPER,
    FAN,
    INLET,
    LOAD,
    MASS_FLOW,
    NODE_PRESSURE,
    OUTLET_PRESSURE,
    SHUTTER,
    SPEED,
    STALL_MARGIN,
    counted_nowhere,
    inlined,
)

STEEPEST = 2.0
"""Slope dṁ/dp times h/C to which a quasi-steady branch is held; RK4 is stable to 2.78."""


@inlined
def branch_temperature(band, flow, first, last):
    """Temperature of the node the air comes from [K], changing sides smoothly over the band."""
    if first == last:
        return first
    return first + (last - first) * 0.5 * (1.0 - flow / math.sqrt(flow * flow + band * band))


@inlined
def walk(plant, coef, off, x, d, probe, j, m, p, T):
    """Static pressure at the far end of an inert branch [Pa], element by element."""
    net = plant.network
    RT = plant.gas.R * T
    mm = m * abs(m)
    for e in range(net.start[j], net.start[j + 1]):
        if net.element[e].kind == FAN:
            probe.drop[e] = -wheel(plant, coef, off, x, d, probe, net.element[e].index, m, p / RT)
            probe.fan[net.element[e].index].outlet = p - probe.drop[e]
        else:
            probe.drop[e] = coef.quadratic[e] * mm * RT / p + net.element[e].linear * m
        p -= probe.drop[e]
    return p


@inlined
def wheel(plant, coef, off, x, d, probe, i, m, rho):
    """Pressure rise across a wheel [Pa]; notes its flow, density, torque and lag on the way."""
    fans = plant.fans
    Q = m / rho
    n = x[off.speed + i]
    rise, torque = fan.between(fans, i, coef.fan[i].setting, Q, n)
    rise, torque = fan.swirled(fans, i, Q, n, rise, torque, coef.fan[i].swirl_rise,
                               coef.fan[i].swirl_torque)
    ratio = rho / fans.each[i].density
    rise *= ratio
    if fans.each[i].lag > 0.0:
        d[off.rise + i] = (rise - x[off.rise + i]) / fans.each[i].lag
        rise = x[off.rise + i]
    probe.fan[i].flow = Q
    probe.fan[i].density = rho
    probe.fan[i].rise = rise
    probe.fan[i].torque = ratio * torque
    return rise


@inlined
def passed(gas, coef, j, p, p_end, T_first, T_last):
    """Mass flow of a quasi-steady branch [kg/s].

        ṁ = 2Δp/(b + √(b² + 4k·s)),  k = (RT/p)(Σq + lean·|Δp|/p)
        s = √(Δp² + σ⁴/(Δp² + σ²)),  σ the smoothing

    The second term of k is the thinning of the air along the chain to first order in Δp/p, p and T
    of the side the air comes from. Linear within about the smoothing; s is |Δp| to (σ/Δp)⁴/2 beyond
    it, so that a smoothing of a third of Δp moves the flow by less than .3 %.
    """
    dp = p - p_end
    little = coef.branch[j].smoothing * coef.branch[j].smoothing
    s = math.sqrt(dp * dp + little * little / (dp * dp + little))
    toward_last = 0.5 + 0.5 * dp / s
    T = T_last + toward_last * (T_first - T_last)
    upstream = p_end + toward_last * dp
    k = gas.R * T / upstream * (coef.branch[j].resistance + coef.branch[j].lean * s / upstream)
    b = coef.branch[j].linear
    return 2.0 * dp / (b + math.sqrt(b * b + 4.0 * k * s))


@inlined
def slopes(plant, coef, cond, off, x, d, probe):
    """d = dx/dt. Also leaves in the probe all that was passed through."""
    net = plant.network
    n_volumes = net.volume.size
    n_inert = net.inertance.size
    for i in range(n_volumes):
        probe.pressure[i] = x[i]
        d[i] = 0.0
    for j in range(net.branch.size):
        a = net.branch[j].first
        b = net.branch[j].last
        p, p_end = probe.pressure[a], probe.pressure[b]
        if j < n_inert:
            m = x[off.flow + j]
            T = branch_temperature(net.band, m, cond.temperature[a], cond.temperature[b])
            end = walk(plant, coef, off, x, d, probe, j, m, p, T)
            d[off.flow + j] = (end - p_end) / coef.inertance[j]
        else:
            m = passed(plant.gas, coef, j, p, p_end, cond.temperature[a], cond.temperature[b])
        probe.flow[j] = m
        d[off.moved + j] = m
        if a < n_volumes:
            d[a] -= m
        if b < n_volumes:
            d[b] += m
    for i in range(n_volumes):
        d[i] *= coef.stiffness[i]
    turn(plant, coef, off, x, d, probe)
    read(plant, coef, cond, off, x, d, probe)


@inlined
def turn(plant, coef, off, x, d, probe):
    """Slope of every rotor's speed ratio [1/s]."""
    rotors = plant.rotors
    for i in range(rotors.each.size):
        torque = drive.motor_torque(rotors, i, x[off.speed + i], coef.fan[i].reference,
                                    probe.fan[i].torque) * coef.fan[i].power
        probe.fan[i].motor_torque = torque
        probe.fan[i].speed = x[off.speed + i]
        d[off.speed + i] = (torque - probe.fan[i].torque) / rotors.each[i].momentum


@inlined
def true_value(plant, coef, cond, probe, i):
    """What a perfect, immediate transmitter would show [m³/s, kg/s, Pa or 1]."""
    place, k = plant.transmitters[i].place, plant.transmitters[i].index
    if place == ACTUAL_FLOW:
        return probe.fan[k].flow
    if place == MASS_FLOW:
        return probe.flow[k] * plant.transmitters[i].scale
    if place >= SPEED:
        return of_machine(plant, coef, probe, place, k)
    here = probe.pressure[plant.transmitters[i].surroundings]
    if place == OUTLET_PRESSURE:
        return probe.fan[k].outlet - here
    if place == NODE_PRESSURE:
        return probe.pressure[k] - here
    return pressure_before(plant, coef, cond, probe, plant.transmitters[i].branch, k) - here


@counted_nowhere
def guarded(plant, coef, probe, i):
    """What a protection looks at [Pa or 1]; a pressure against the surroundings."""
    place, k = plant.guards[i].place, plant.guards[i].index
    if place == NODE_PRESSURE:
        return probe.pressure[k] - probe.pressure[plant.network.volume.size]
    return of_machine(plant, coef, probe, place, k)


@counted_nowhere
def of_machine(plant, coef, probe, place, k):
    """Speed ratio either way, motor load or (Q − Q_stall)/Q of a fan; below a thousandth of the
    stall flow that margin keeps the value it has there, −999."""
    n = probe.fan[k].speed
    if place == SPEED:
        return abs(n)
    if place == LOAD:
        return drive.load_share(plant.rotors, k, n, probe.fan[k].motor_torque)
    if place == STALL_MARGIN:
        stall = fan.stall_flow(plant.fans, k, n, coef.fan[k].opening)
        return 1.0 - stall / max(probe.fan[k].flow, 1e-3 * stall)
    return 0.0


@inlined
def pressure_before(plant, coef, cond, probe, j, element):
    """Pressure in front of an element of a quasi-steady branch [Pa], walked from its first node."""
    net = plant.network
    p = probe.pressure[net.branch[j].first]
    RT = plant.gas.R * cond.temperature[net.branch[j].first]
    m = probe.flow[j]
    for e in range(net.start[j], element):
        p -= coef.quadratic[e] * RT / p * m * abs(m) + net.element[e].linear * m
    return p


@inlined
def sensed(plant, coef, cond, probe, i):
    """What the transmitter sees: the true value, misled by a density it does not know."""
    value = true_value(plant, coef, cond, probe, i)
    misled = plant.transmitters[i].misled
    if misled == AS_IT_IS:
        return value
    ratio = probe.fan[plant.transmitters[i].fan].density / plant.transmitters[i].design_density
    return value * math.sqrt(ratio if misled == AS_ROOT_DENSITY else 1.0 / ratio)


@inlined
def read(plant, coef, cond, off, x, d, probe):
    """Slope of every lagged reading."""
    for i in range(plant.transmitters.size):
        lag = plant.transmitters[i].lag
        if lag > 0.0:
            d[off.reading + i] = (sensed(plant, coef, cond, probe, i)
                                  - x[off.reading + i]) / lag


@inlined
def form(plant, cond, position, flow, coef, h):
    """Coefficients for a step of h from the positions (and the flows, for a closing damper).

    Returns the number of branches whose inertance was raised.
    A damper near shut in an inert branch makes an explicit step diverge: the inertance is raised
    to ½h·∂loss/∂ṁ there. Where the run knows a standing fan it is that at the flow which the plant
    could drive through the damper, or a flow that starts from zero would overshoot within a step.
    Only dampers do this: raising it for a steep process would shift the surge's phase.
    A quasi-steady branch is as stiff where its flow crosses zero: its slope is held to
    2·C/h of the smaller volume beside it.
    """
    net = plant.network
    gas = plant.gas
    stiff = 0
    for i in range(net.volume.size):
        coef.stiffness[i] = gas.gamma * gas.R * cond.temperature[i] / net.volume[i]
    for i in range(coef.fan.size):
        if plant.rotors.each[i].actuator >= 0:
            coef.fan[i].reference = position[plant.rotors.each[i].actuator]
    set_inlets(plant, position, coef)
    for j in range(net.branch.size):
        k = 0.0
        pairs = 0.0
        b = 0.0
        steep = 0.0
        for e in range(net.start[j], net.start[j + 1]):
            q = resistance(plant, cond, position, coef, e)
            coef.quadratic[e] = q
            pairs += k * q
            k += q
            b += net.element[e].linear
            if (net.element[e].kind == DAMPER or net.element[e].kind == INLET
                    or net.element[e].kind == SHUTTER):
                steep += q
        if j < net.inertance.size:
            RT = gas.R * cond.temperature[net.branch[j].first]
            here = cond.pressure[net.branch[j].first]
            needed = h * steep * abs(flow[j]) * RT / here
            if net.push > 0.0:
                needed = max(needed, h * math.sqrt(steep * RT / here * net.push))
            coef.inertance[j] = max(net.inertance[j], needed)
            if needed > net.inertance[j]:
                stiff += 1
        else:
            coef.branch[j].resistance = k
            coef.branch[j].lean = pairs / k
            coef.branch[j].linear = b
            coef.branch[j].smoothing = smoothing(net, coef, cond, gas, j, k, h)
    return stiff


@inlined
def opening(actuators, a, position):
    """Opening that the linkage gives at the element's position."""
    return table.line(actuators.linkage[a, 0], actuators.linkage[a, 1], position[a])


@inlined
def set_inlets(plant, position, coef):
    """Place in the measured family, and pre-swirl, of every fan with vanes or a box damper."""
    fans, inlets = plant.fans, plant.inlets
    last = fans.cells.shape[1] - 1
    for i in range(fans.each.size):
        y = 1.0
        if fans.each[i].inlet >= 0:
            y = opening(plant.actuators, fans.each[i].inlet, position)
        coef.fan[i].opening = y
        coef.fan[i].setting = min(max(y, 0.0), 1.0) * last
    for i in range(inlets.size):
        y = opening(plant.actuators, inlets[i].actuator, position)
        tan = inlet.tangent(inlets[i].turn, y)
        coef.fan[inlets[i].fan].swirl_rise = inlets[i].rise * tan
        coef.fan[inlets[i].fan].swirl_torque = inlets[i].torque * tan


@inlined
def resistance(plant, cond, position, coef, e):
    """ζ/(2A²) of an element now [1/m⁴]."""
    net = plant.network
    if net.element[e].kind == DAMPER:
        i = net.element[e].index
        y = opening(plant.actuators, plant.dampers.each[i].actuator, position)
        return damper.quadratic(plant.dampers, i, y) * cond.factor[e]
    if net.element[e].kind == INLET:
        i = net.element[e].index
        y = opening(plant.actuators, plant.inlets[i].actuator, position)
        return inlet.quadratic(plant.inlets[i].loss, plant.inlets[i].leakage, y)
    if net.element[e].kind == SHUTTER:
        return shutter.quadratic(plant.shutters, net.element[e].index,
                                 coef.shutter[net.element[e].index])
    return net.element[e].quadratic * cond.factor[e]


@inlined
def smoothing(net, coef, cond, gas, j, k, h):
    """[Pa] within which a quasi-steady branch turns linear, so that dṁ/dp < 2·C/h."""
    a, b = net.branch[j].first, net.branch[j].last
    steep = max(coef.stiffness[a] if a < net.volume.size else 0.0,
                coef.stiffness[b] if b < net.volume.size else 0.0)
    RT = gas.R * cond.temperature[net.branch[j].first]
    slope = h * steep / STEEPEST
    return max(net.smoothing, slope * slope * cond.pressure[net.branch[j].first] / (k * RT))


@inlined
def note_drops(plant, coef, cond, probe):
    """Pressure each element of the quasi-steady chains takes, walked from where the air comes
    from; positive along the branch."""
    net = plant.network
    for j in range(net.inertance.size, net.branch.size):
        m = probe.flow[j]
        n = net.start[j + 1] - net.start[j]
        source = net.branch[j].first if m >= 0.0 else net.branch[j].last
        here = probe.pressure[source]
        RT = plant.gas.R * cond.temperature[source]
        for i in range(n):
            e = net.start[j] + i if m >= 0.0 else net.start[j + 1] - 1 - i
            probe.drop[e] = coef.quadratic[e] * RT / here * m * abs(m) + net.element[e].linear * m
            here -= abs(probe.drop[e])


slopes_called = counted_nowhere(getattr(slopes, "py_func", slopes))
form_called = counted_nowhere(getattr(form, "py_func", form))
"""The same two as calls, for where they are needed once a scan or record."""
