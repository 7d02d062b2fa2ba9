"""The fan's curve under the fan laws: Δp = (ρ/ρ₀)n²f(Q/n), T = (ρ/ρ₀)n²g(Q/n)."""

from simfan.kernel.layout import inlined


@inlined
def curve(fans, i, k, Q, n):
    """(n²f, n²g) of setting k: pressure rise [Pa] and shaft torque [N m] at rated density.

    Inside the table a cubic in Q/n. Outside it both end as quadratics a·n² + b·n·Q + c·Q², which
    need no division and leave a standing wheel a plain resistance.
    """
    if n < 0.0:
        return backwards(fans, i, k, Q, n)
    s = Q - fans.each[i].low * n
    n_cells = fans.cells.shape[2]
    if s * fans.each[i].per_cell >= n_cells * n:
        c = fans.runout[i, k]
    elif s <= 0.0:
        c = fans.reverse[i, k]
    else:
        u = s / n * fans.each[i].per_cell
        j = min(int(u), n_cells - 1)
        t = u - j
        c = fans.cells[i, k, j]
        nn = n * n
        return (nn * (c[0] + t * (c[1] + t * (c[2] + t * c[3]))),
                nn * (c[4] + t * (c[5] + t * (c[6] + t * c[7]))))
    return (n * (c[0] * n + c[1] * Q) + c[2] * Q * Q,
            n * (c[3] * n + c[4] * Q) + c[5] * Q * Q)


@inlined
def backwards(fans, i, k, Q, n):
    """(n²f, n²g) of a wheel that is turned backwards: the standing wheel's resistance and torque, a
    part of the pressure at shut-off, and the torque at shut-off against its turning.

        a_n·n² + c·Q²,  −g(0)·n² + c_T·Q²,  c of the side that the flow comes from
    """
    c = fans.runout[i, k] if Q > 0.0 else fans.reverse[i, k]
    back = fans.backward[i, k]
    return back[0] * n * n + c[2] * Q * Q, c[5] * Q * Q - back[1] * n * n


@inlined
def between(fans, i, setting, Q, n):
    """The curve at a place in the family: a straight line between neighbouring settings, which lie
    close together."""
    k = min(int(setting), max(fans.cells.shape[1] - 2, 0))
    rise, torque = curve(fans, i, k, Q, n)
    w = setting - k
    if w > 0.0:
        above, more = curve(fans, i, k + 1, Q, n)
        rise += w * (above - rise)
        torque += w * (more - torque)
    return rise, torque


@inlined
def swirled(fans, i, Q, n, rise, torque, swirl_rise, swirl_torque):
    """Pressure and torque less what the pre-swirl of the inlet takes, in forward flow.

    The torque is not taken below the floor, a share of that at shut-off, at this speed.
    """
    if Q <= 0.0 or n <= 0.0:
        return rise, torque
    least = min(torque, fans.each[i].floor * n * n)
    return rise - swirl_rise * n * Q, max(torque - swirl_torque * Q * Q, least)


@inlined
def stall_flow(fans, i, n, opening):
    """Flow of the stall line at this speed and inlet opening [m³/s]; nan where there is none."""
    last = fans.stall.shape[1] - 1
    u = min(max(opening, 0.0), 1.0) * last
    k = min(int(u), max(last - 1, 0))
    w = u - k
    line = fans.stall[i, k]
    if w > 0.0:
        line += w * (fans.stall[i, k + 1] - line)
    return line * max(n, 0.0)
