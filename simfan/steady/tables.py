"""What only steady points can tell a structure: feedforward, stall floor, where two loops rest."""

from dataclasses import replace

import numpy as np
from scipy.optimize import root

from simfan.assemble import Assembled
from simfan.assemble.devices import actuators
from simfan.assemble.sequence import Points
from simfan.errors import Problem, ScenarioError
from simfan.kernel import entry, layout
from simfan.plant.case import Case, Strategy
from simfan.steady.bench import Array
from simfan.steady.search import Search

POINTS = 41
GRID = 31
"""Positions of one element at which two loops are looked for first."""
LEAST = 0.02
"""Lowest flow looked at, of the largest in the curve's table."""
CLOSE = 1e-6
"""Of a span, and of the curve's pressure: two loops are at rest."""


def with_tables(case: Case, name: str, assembled: Assembled) -> Assembled:
    """The same with the tables of its structure. Raises ScenarioError where there is none, such as
    of two loops that rest nowhere."""
    strategy, plant = case.strategies[name], assembled.plant
    if strategy.second_loop:
        assembled = replace(assembled, resting=_resting(name, strategy, assembled))
    if not (strategy.feedforward or strategy.stall_floor):
        return assembled
    search, found = Search(assembled), {}
    if strategy.feedforward:
        found[0] = _feedforward(search, name, strategy.feedforward.share)
    if strategy.stall_floor:
        found[plant.loops.size - 1] = _floor(search, strategy.stall_floor.margin)
    feeds = np.zeros((plant.loops.size, 2, POINTS))
    feeds[:, 0] = np.arange(POINTS)
    for i, table in found.items():
        feeds[i] = table
    return replace(assembled, plant=plant._replace(feeds=feeds))


def carried(known: Assembled, other: Assembled) -> Assembled:
    """The tables of one assembled plant on the same plant at another step."""
    return replace(other, resting=known.resting,
                   plant=other.plant._replace(feeds=known.plant.feeds))


def _feedforward(search: Search, name: str, share: float) -> Array:
    """(2, POINTS) held value on spans, and the share of the output that gives it."""
    i = search.bench.off.flow
    ends = search.points_at(0.0), search.points_at(1.0)
    if not len(ends[0]) or not len(ends[1]):
        raise ScenarioError([Problem(
            ("strategies", name, "feedforward"), "no steady flow at one end of the output",
            "a plant that has one from 0 to 100 % output",
            "take feedforward away, or look with simfan map where the range ends")])
    at = search.between(float(ends[0].x[0, i]), float(ends[1].x[-1, i]), 2 * POINTS)
    sees = search.plant.transmitters
    held = (search.samples(at)["true_value"][:, 0] - sees.low[0]) / sees.span[0]
    order = np.argsort(held)
    x = np.linspace(held.min(), held.max(), POINTS)
    return np.array([x, share * np.interp(x, held[order], at.output[order])])


def _floor(search: Search, margin: float) -> Array:
    """(2, POINTS) the volume's pressure on spans, and the lowest output at which, against that
    pressure, the fan still gives Q_stall/(1 − margin)."""
    plant, bench = search.plant, search.bench
    floor = plant.loops.size - 1
    x = np.linspace(0.0, 1.0, POINTS)
    back = plant.transmitters.low[floor] + x * plant.transmitters.span[floor]
    outputs = np.linspace(0.0, 1.0, 4 * POINTS)
    position = search.placed(outputs)
    density = bench.p0 / (plant.gas.R * bench.cond.temperature[plant.network.branch[0].first])
    flow = np.array([_stall(search, p) for p in position]) * density / max(1.0 - margin, 1e-3)
    k, p = (grid.ravel() for grid in np.meshgrid(np.arange(outputs.size), back, indexing="ij"))
    left, _ = search.surplus(position[k], flow[k], bench.p0 + p)
    safe = (left > 0.0).reshape(outputs.size, POINTS)
    lowest = np.where(safe.any(axis=0), np.argmax(safe, axis=0), outputs.size - 1)
    return np.array([x, outputs[lowest]])


def _stall(search: Search, position: Array) -> float:
    """Q_stall with the elements placed so [m³/s]."""
    plant = search.plant
    a, inlet = plant.rotors.each.actuator[0], plant.fans.each.inlet[0]
    n = float(position[a]) if a >= 0 else 1.0
    y = 1.0
    if inlet >= 0:
        table = plant.actuators.linkage[inlet]
        y = float(np.interp(position[inlet], table[0], table[1]))
    return float(entry.stall_flow(plant, 0, n, y))


def _resting(name: str, strategy: Strategy, assembled: Assembled) -> layout.Actuators:
    """Tables of one place from the least flow to the most at which both loops are satisfied."""
    search = Search(assembled)
    flows = search.bench.m_scale * np.linspace(LEAST, 1.2, POINTS)
    found = [p for p in (_both(search, assembled, m) for m in flows) if p is not None]
    if len(found) < 3:
        raise ScenarioError([Problem(
            ("strategies", name, "second_loop"), "two values that are nowhere held together",
            "two values of which one can be moved and the other stays",
            "behind one fan and before one process flow and pressure go together unless an element "
            "stands between where they are measured: hold the pressure of the volume by speed and "
            "the flow by a damper after it, and see that the second setpoint is within reach")])
    way = np.linspace(0.0, 1.0, len(found))
    tables: list[Points] = [tuple(zip(way.tolist(), column, strict=True))
                            for column in np.array(found).T.tolist()]
    return actuators([replace(e, sequence=t) for e, t in
                      zip(assembled.elements, tables, strict=True)], assembled.plant.step)


def _both(search: Search, assembled: Assembled, flow: float) -> Array | None:
    """(2,) positions at which the fan passes this flow [kg/s] and the second value is as wanted."""
    plant, wanted = search.plant, float(assembled.base.setpoint[0, 1])
    ends = np.array([[t.min(), t.max()] for t in assembled.plant.actuators.demand])

    def amiss(position: Array) -> Array:
        left, _ = search.surplus(position[None], np.array([flow]))
        at = search.standing(position[None], np.array([flow]))
        value = search.samples(at)["true_value"][0, 1]
        return np.array([left[0] / search.bench.p_scale,
                         (value - wanted) / plant.transmitters.span[1]])

    grid = [np.linspace(low, high, GRID) for low, high in ends]
    many = np.stack([g.ravel() for g in np.meshgrid(*grid, indexing="ij")], axis=1)
    m = np.full(len(many), flow)
    left, _ = search.surplus(many, m)
    value = search.samples(search.standing(many, m))["true_value"][:, 1]
    size = np.hypot(left / search.bench.p_scale, (value - wanted) / plant.transmitters.span[1])
    best = root(amiss, many[int(np.nanargmin(size))], method="hybr")
    within = (best.x >= ends[:, 0] - 1e-6).all() and (best.x <= ends[:, 1] + 1e-6).all()
    if not within or np.abs(amiss(best.x)).max() > CLOSE or not _apart(amiss, best.x):
        return None
    return np.clip(best.x, ends[:, 0], ends[:, 1])


def _apart(amiss: object, x: Array) -> bool:
    """Whether the two elements move the two values in ways of their own."""
    h = 1e-4
    columns = [(amiss(x + h * e) - amiss(x - h * e)) / (2.0 * h)  # type: ignore[operator]
               for e in np.eye(2)]
    return bool(np.linalg.cond(np.array(columns)) < 1e4)
