"""Where the plain case rests with its first loop's value as wanted: the start of every run.

    range of flow        from the least point at 0 % output to the last at 100 %
    a look over it       value at even flows, each at the highest output that gives it
    a search             between the two of them on either side of the wanted value
"""

import math

import numpy as np

from simfan.kernel import advance, network
from simfan.kernel.layout import OUTPUT_OF, compiled, counted_nowhere
from simfan.kernel.rest import at_output, outermost, output_for
from simfan.kernel.zero import between, closer, nearest, next_place

CLOSE = 1e-12
"""Width in flow, of the bracket at first, at which the search ends."""
FOUND, BEYOND, NO_FLOW_AT_LEAST, NO_FLOW_AT_MOST = 0, 1, 2, 3
"""How it ended: with a point; the value is out of reach; no steady flow at 0 or at 100 % output."""


@compiled
def hold(plant, cond, wanted, grid, points, steps, little, position, x, d, coef, probe):
    """(how it ended, controller output, flow [kg/s]) of the point with the first loop's value as
    wanted; of several outputs that would do, the highest.

    `grid` are flows between which operating points are looked for [kg/s], `points` and `steps` how
    many flows and how many even steps of output are looked at; less than `little` left over is
    rounding [Pa]. `position` (n_elements,) is working memory.
    """
    advance.bound(plant, cond, probe)
    ends = np.empty(2)
    for end in range(2):
        ends[end] = outermost(plant, cond, coef, float(end), grid, 1 - 2 * end, position, x, d,
                              probe)
    least, most = ends[0], ends[1]
    if math.isnan(least) or math.isnan(most):
        return NO_FLOW_AT_MOST if math.isnan(most) else NO_FLOW_AT_LEAST, math.nan, math.nan
    at = np.empty((3, points))
    n = look(plant, cond, coef, wanted, least, most, steps, little, at, position, x, d, probe)
    output, flow, off = at[0, :n], at[1, :n], at[2, :n]
    k = crossing(output, off)
    if k < 0:
        return BEYOND, math.nan, math.nan
    for end in (k, k + 1):
        if off[end] == 0.0:
            return FOUND, output[end], flow[end]
    u, m = meet(plant, cond, coef, wanted, output[k:k + 2], flow[k:k + 2], off[k:k + 2], steps,
                position, x, d, probe)
    return FOUND, u, m


@counted_nowhere
def look(plant, cond, coef, wanted, least, most, steps, little, at, position, x, d, probe):
    """Output, flow and how far off the value is, at even flows that some output gives, into the
    rows of `at`. Returns how many. Ends just missed by rounding rest at the output's limit."""
    last, n = at.shape[1] - 1, 0
    for k in range(last + 1):
        flow = least + (most - least) * (k / last) if k < last else most
        u = output_for(plant, cond, coef, flow, steps, position, x, d, probe)
        if math.isnan(u) and (k == 0 or k == last):
            limit = 0.0 if k == 0 else 1.0
            if abs(at_output(plant, cond, coef, limit, flow, position, x, d, probe)) < little:
                u = limit
        if not math.isnan(u):
            at[0, n], at[1, n] = u, flow
            at[2, n] = value(plant, cond, coef, u, flow, position, x, d, probe) - wanted
            n += 1
    return n


@counted_nowhere
def value(plant, cond, coef, output, flow, position, x, d, probe):
    """True value of what the first loop holds at an output and flow that go together."""
    at_output(plant, cond, coef, output, flow, position, x, d, probe)
    if plant.transmitters[0].place == OUTPUT_OF:
        return output
    return network.true_value(plant, coef, cond, probe, 0)


@counted_nowhere
def crossing(output, off):
    """First of two neighbours between which the value is as wanted, at the highest output; −1
    without any."""
    found, highest = -1, -math.inf
    for k in range(off.size - 1):
        if off[k] * off[k + 1] <= 0.0 and max(output[k], output[k + 1]) > highest:
            found, highest = k, max(output[k], output[k + 1])
    return found


@counted_nowhere
def meet(plant, cond, coef, wanted, output, flow, off, steps, position, x, d, probe):
    """(output, flow [kg/s]) between two points, off to either side. By rounding no output may give
    a flow just inside the range: the limit does."""
    limit = max(output[0], output[1])
    bracket = between(flow[0], off[0], flow[1], off[1], CLOSE)
    while not bracket.done:
        m = next_place(bracket)
        u = output_for(plant, cond, coef, m, steps, position, x, d, probe)
        u = limit if math.isnan(u) else u
        bracket = closer(bracket, m,
                         value(plant, cond, coef, u, m, position, x, d, probe) - wanted)
    m = nearest(bracket)
    u = output_for(plant, cond, coef, m, steps, position, x, d, probe)
    return limit if math.isnan(u) else u, m
