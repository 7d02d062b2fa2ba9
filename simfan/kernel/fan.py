"""The fan's curve under the fan laws: Δp = (ρ/ρ₀)n²f(Q/n), T = (ρ/ρ₀)n²g(Q/n)."""

from simfan.kernel.layout import inlined


@inlined
def curve(fans, i, Q, n):
    """(n²f, n²g): pressure rise [Pa] and shaft torque [N m] at rated density.

    Inside the table a cubic in Q/n. Outside it both end as quadratics a·n² + b·n·Q + c·Q², which
    need no division and leave a standing wheel a plain resistance. A wheel that turns backwards is
    taken as standing.
    """
    n = max(n, 0.0)
    s = Q - fans.low[i] * n
    n_cells = fans.cells.shape[1]
    if s * fans.per_cell[i] >= n_cells * n:
        c = fans.runout[i]
    elif s <= 0.0:
        c = fans.reverse[i]
    else:
        u = s / n * fans.per_cell[i]
        k = min(int(u), n_cells - 1)
        t = u - k
        c = fans.cells[i, k]
        nn = n * n
        return (nn * (c[0] + t * (c[1] + t * (c[2] + t * c[3]))),
                nn * (c[4] + t * (c[5] + t * (c[6] + t * c[7]))))
    return (n * (c[0] * n + c[1] * Q) + c[2] * Q * Q,
            n * (c[3] * n + c[4] * Q) + c[5] * Q * Q)


@inlined
def stall_flow(fans, i, n):
    """Flow of the stall line at this speed [m³/s]; nan where the curve has none."""
    return fans.stall[i] * max(n, 0.0)
