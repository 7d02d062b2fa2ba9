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

from simfan.kernel import damper, drive, fan
from simfan.kernel.layout import AT_FAN, DAMPER, FAN, inlined


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
        if net.kind[e] == FAN:
            probe.drop[e] = -wheel(plant, off, x, d, probe, net.index[e], m, p / RT)
        else:
            probe.drop[e] = coef.quadratic[e] * mm * RT / p + net.linear[e] * m
        p -= probe.drop[e]
    return p


@inlined
def wheel(plant, off, x, d, probe, i, m, rho):
    """Pressure rise across a wheel [Pa]; notes its flow, density, torque and lag on the way."""
    fans = plant.fans
    Q = m / rho
    rise, torque = fan.curve(fans, i, Q, x[off.speed + i])
    ratio = rho / fans.density[i]
    rise *= ratio
    if fans.lag[i] > 0.0:
        d[off.rise + i] = (rise - x[off.rise + i]) / fans.lag[i]
        rise = x[off.rise + i]
    probe.fan_flow[i] = Q
    probe.fan_density[i] = rho
    probe.fan_rise[i] = rise
    probe.fan_torque[i] = ratio * torque
    return rise


@inlined
def passed(gas, coef, j, p, p_end, T_first, T_last):
    """Mass flow of a quasi-steady branch [kg/s].

        ṁ = 2Δp/(b + √(b² + 4k·s)),  s = √(Δp² + smoothing²),  k = (RT/p)(Σq + lean·|Δp|/p)

    The second term of k is the thinning of the air along the chain to first order in Δp/p, p and T
    of the side the air comes from. Linear within about the smoothing.
    """
    dp = p - p_end
    s = math.sqrt(dp * dp + coef.smoothing[j] * coef.smoothing[j])
    toward_last = 0.5 + 0.5 * dp / s
    T = T_last + toward_last * (T_first - T_last)
    upstream = p_end + toward_last * dp
    k = gas.R * T / upstream * (coef.resistance[j] + coef.lean[j] * s / upstream)
    b = coef.linear[j]
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
    for j in range(net.first.size):
        a = net.first[j]
        b = net.last[j]
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
    read(plant, off, x, d, probe)


@inlined
def turn(plant, coef, off, x, d, probe):
    """Slope of every rotor's speed ratio [1/s]."""
    rotors = plant.rotors
    for i in range(rotors.mode.size):
        torque = drive.motor_torque(rotors, i, x[off.speed + i], coef.reference[i],
                                    probe.fan_torque[i])
        probe.motor_torque[i] = torque
        d[off.speed + i] = (torque - probe.fan_torque[i]) / rotors.momentum[i]


@inlined
def true_value(plant, probe, i):
    """What an immediate transmitter would show [m³/s]."""
    place = plant.transmitters
    if place.place[i] == AT_FAN:
        return probe.fan_flow[place.index[i]]
    return probe.flow[place.index[i]] / place.density


@inlined
def read(plant, off, x, d, probe):
    """Slope of every lagged reading."""
    lag = plant.transmitters.lag
    for i in range(lag.size):
        if lag[i] > 0.0:
            d[off.reading + i] = (true_value(plant, probe, i) - x[off.reading + i]) / lag[i]


@inlined
def form(plant, cond, position, flow, coef, h):
    """Coefficients for a step of h from the positions (and the flows, for a closing damper).

    Returns the number of branches whose inertance was raised.
    A damper near shut in an inert branch makes an explicit step diverge: the inertance is raised
    to ½h·∂loss/∂ṁ there. Only dampers do this: raising it for a steep
    process would shift the surge's phase.
    A quasi-steady branch is as stiff where its flow crosses zero: its slope is held below C/h of
    the smaller volume beside it.
    """
    net = plant.network
    gas = plant.gas
    stiff = 0
    for i in range(net.volume.size):
        coef.stiffness[i] = gas.gamma * gas.R * cond.temperature[i] / net.volume[i]
    for i in range(coef.reference.size):
        if plant.rotors.actuator[i] >= 0:
            coef.reference[i] = position[plant.rotors.actuator[i]]
    for j in range(net.first.size):
        k = 0.0
        pairs = 0.0
        b = 0.0
        steep = 0.0
        for e in range(net.start[j], net.start[j + 1]):
            q = resistance(plant, cond, position, e)
            coef.quadratic[e] = q
            pairs += k * q
            k += q
            b += net.linear[e]
            if net.kind[e] == DAMPER:
                steep += q
        if j < net.inertance.size:
            RT = gas.R * cond.temperature[net.first[j]]
            needed = h * steep * abs(flow[j]) * RT / cond.pressure[net.first[j]]
            coef.inertance[j] = max(net.inertance[j], needed)
            if needed > net.inertance[j]:
                stiff += 1
        else:
            coef.resistance[j] = k
            coef.lean[j] = pairs / k
            coef.linear[j] = b
            coef.smoothing[j] = smoothing(net, coef, cond, gas, j, k, h)
    return stiff


@inlined
def resistance(plant, cond, position, e):
    """ζ/(2A²) of an element now [1/m⁴]."""
    net = plant.network
    if net.kind[e] == DAMPER:
        i = net.index[e]
        opening = position[plant.dampers.actuator[i]]
        return damper.quadratic(plant.dampers, i, opening) * cond.factor[e]
    return net.quadratic[e] * cond.factor[e]


@inlined
def smoothing(net, coef, cond, gas, j, k, h):
    """[Pa] within which a quasi-steady branch turns linear, so that dṁ/dp < C/h."""
    steep = max(coef.stiffness[net.first[j]] if net.first[j] < net.volume.size else 0.0,
                coef.stiffness[net.last[j]] if net.last[j] < net.volume.size else 0.0)
    RT = gas.R * cond.temperature[net.first[j]]
    slope = h * steep
    return max(net.smoothing, slope * slope * cond.pressure[net.first[j]] / (k * RT))


@inlined
def note_drops(plant, coef, cond, probe):
    """Pressure each element of the quasi-steady chains takes, walked from where the air comes
    from; positive along the branch."""
    net = plant.network
    for j in range(net.inertance.size, net.first.size):
        m = probe.flow[j]
        n = net.start[j + 1] - net.start[j]
        source = net.first[j] if m >= 0.0 else net.last[j]
        here = probe.pressure[source]
        RT = plant.gas.R * cond.temperature[source]
        for i in range(n):
            e = net.start[j] + i if m >= 0.0 else net.start[j + 1] - 1 - i
            probe.drop[e] = coef.quadratic[e] * RT / here * m * abs(m) + net.linear[e] * m
            here -= abs(probe.drop[e])
