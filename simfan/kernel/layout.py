"""How a plant lies in memory: NamedTuples of arrays, floats and ints. SI throughout.

The network is general. Nodes 0..n_volumes-1 store air, the rest are boundaries. Branches
0..n_inert-1 have inertance and carry a flow as state, the rest are quasi-steady. A branch is a
chain of elements with one flow, from its first node to its last.

    boundary ──[loss]──[fan]──[damper]──► volume ──[damper]──[loss]──► boundary
                branch 0 (inertance)                branch 1 (quasi-steady)
"""

from typing import NamedTuple

import numba
import numpy as np

compiled = numba.njit(cache=True, error_model="numpy", nogil=True)
"""For what Python calls, and for what allocates."""
counted_nowhere = numba.njit(cache=True, error_model="numpy", nogil=True, _nrt=False)
"""For the loop over steps: free of reference counts on the plant's arrays, which cost fifteen times
the arithmetic. It may not allocate, and Python may not call it."""
inlined = numba.njit(cache=True, error_model="numpy", nogil=True, _nrt=False, inline="always")
"""For what runs inside a step: written into its caller, since passing the plant by value costs as
much as a slope."""

Floats = np.ndarray
Ints = np.ndarray

LOSS, DAMPER, FAN = 0, 1, 2
"""Kinds of element."""

ON_LINE, ON_DRIVE, UNPOWERED = 0, 1, 2
"""What turns a rotor."""

AT_FAN, AT_BRANCH = 0, 1
"""What a transmitter looks at: volume flow at a wheel's inlet, or a branch's mass flow over the
reference density."""

UNLIMITED, OUTPUT, POSITION = 0, 1, 2
"""Where a controller's external reset comes from."""

DONE, NOT_FINITE = 0, 1
"""How a segment of a run ended."""


class Gas(NamedTuple):
    R: float
    gamma: float


class Network(NamedTuple):
    volume: Floats  # (n_volumes,) [m³]
    first: Ints  # (n_branches,) node
    last: Ints  # (n_branches,) node
    inertance: Floats  # (n_inert,) ΣL/A [1/m]
    start: Ints  # (n_branches + 1,) offsets into the elements
    kind: Ints  # (n_elements,)
    index: Ints  # (n_elements,) row in the table of its kind
    quadratic: Floats  # (n_elements,) ζ/(2A²) [1/m⁴]: Δp = quadratic·ṁ|ṁ|/ρ
    linear: Floats  # (n_elements,) [Pa s/kg]: Δp = linear·ṁ
    smoothing: float  # [Pa] below which a quasi-steady branch turns linear
    band: float  # [kg/s] over which a branch's temperature changes sides with its flow


class Fans(NamedTuple):
    cells: Floats  # (n_fans, n_cells, 8) cubics of pressure and torque against Q/n
    low: Floats  # (n_fans,) Q/n at the table's left end [m³/s]
    per_cell: Floats  # (n_fans,) cells per m³/s
    reverse: Floats  # (n_fans, 6) quadratics left of the table
    runout: Floats  # (n_fans, 6) quadratics right of the table
    stall: Floats  # (n_fans,) Q/n of the stall line, nan where there is none
    density: Floats  # (n_fans,) rated [kg/m³]
    lag: Floats  # (n_fans,) of the pressure rise [s]; 0 is none


class Rotors(NamedTuple):
    mode: Ints  # (n_fans,)
    rated_speed: Floats  # (n_fans,) ω₀ of the fan [rad/s]
    momentum: Floats  # (n_fans,) J·ω₀ [N m s]
    rated_torque: Floats  # (n_fans,) of the motor, at the fan's shaft [N m]
    rated_power: Floats  # (n_fans,) [W]
    synchronous: Floats  # (n_fans,) speed ratio at no load, on the line
    base: Floats  # (n_fans,) speed ratio at rated load
    breakdown: Floats  # (n_fans,) torque over rated torque
    breakdown_slip: Floats  # (n_fans,)
    current_limit: Floats  # (n_fans,) drive torque over rated torque
    braking: Floats  # (n_fans,) over rated torque
    lag: Floats  # (n_fans,) of the drive's speed loop [s]
    actuator: Ints  # (n_fans,) that carries the speed reference, -1 on the line
    loss: Floats  # (n_fans, 2, n_points) share of rated power; loss of motor, drive, belt over it


class Dampers(NamedTuple):
    actuator: Ints  # (n_dampers,)
    element: Ints  # (n_dampers,)
    area: Floats  # (n_dampers,) [m²]
    knots: Floats  # (n_dampers, 2) opening where ln ζ changes its form
    log_loss: Floats  # (n_dampers, 3, 3) ln ζ = c0 + c1·y + c2·y² left, between, right


class Actuators(NamedTuple):
    rate_up: Floats  # (n_actuators,) [1/s]
    rate_down: Floats  # (n_actuators,) [1/s]
    lag: Floats  # (n_actuators,) [s]
    decay: Floats  # (n_actuators,) e^(-h/lag)
    delay: Ints  # (n_actuators,) dead time in steps
    loop: Ints  # (n_actuators,) that moves it
    output: Floats  # (n_actuators, n_points) sequence table: controller output 0..1 ...
    demand: Floats  # (n_actuators, n_points) ... and the element's demand


class Transmitters(NamedTuple):
    place: Ints  # (n_loops,) AT_FAN or AT_BRANCH
    index: Ints  # (n_loops,) which fan or branch
    density: float  # reference for AT_BRANCH [kg/m³]
    lag: Floats  # (n_loops,) [s]; 0 is none
    delay: Ints  # (n_loops,) dead time in steps


class Loops(NamedTuple):
    gain: Floats  # (n_loops,) [1], on spans
    reset: Floats  # (n_loops,) Ti [s]
    derivative: Floats  # (n_loops,) Kc·N, 0 without derivative [1]
    derivative_decay: Floats  # (n_loops,) e^(-N·scan/Td)
    weight: Floats  # (n_loops,) of the setpoint
    span: Floats  # (n_loops,) of the transmitter, from zero
    reset_from: Ints  # (n_loops,)
    actuator: Ints  # (n_loops,) whose position may be the reset


class Plant(NamedTuple):
    gas: Gas
    network: Network
    fans: Fans
    rotors: Rotors
    dampers: Dampers
    actuators: Actuators
    transmitters: Transmitters
    loops: Loops
    step: float  # h [s]
    scan_steps: int
    record_steps: int
    last_tick: int


class Conditions(NamedTuple):
    """What the timeline prescribes; one row of the schedule."""

    setpoint: Floats  # (n_loops,)
    pressure: Floats  # (n_nodes,) of boundaries; for volumes only a scale [Pa]
    temperature: Floats  # (n_nodes,) [K]
    factor: Floats  # (n_elements,) on each resistance


class Schedule(NamedTuple):
    """The conditions of every scan, (n_scans, ...)."""

    setpoint: Floats
    pressure: Floats
    temperature: Floats
    factor: Floats


class State(NamedTuple):
    """Everything that a run remembers."""

    moving: Floats  # integrated: pressure, flow, speed, lagged rise, lagged reading, mass moved
    position: Floats  # (n_actuators,)
    demand: Floats  # (n_actuators,) after the sequence table
    output: Floats  # (n_loops,) limited controller output 0..1
    unlimited: Floats  # (n_loops,)
    integral: Floats  # (n_loops,)
    derivative: Floats  # (n_loops,)
    reading: Floats  # (n_loops,) what the controller last saw
    demand_queue: Floats  # (n_actuators, longest delay + 1)
    reading_queue: Floats  # (n_loops, longest delay + 1)
    count: Ints  # tick, stiff steps, index of the state that is not finite


TICK, STIFF, CULPRIT = 0, 1, 2
"""Places in `State.count`."""


class Offsets(NamedTuple):
    """Where each kind of integrated state begins in `State.moving`."""

    flow: int
    speed: int
    rise: int
    reading: int
    moved: int
    end: int


class Probe(NamedTuple):
    """What the equations pass through on their way to a slope."""

    pressure: Floats  # (n_nodes,)
    flow: Floats  # (n_branches,) [kg/s]
    drop: Floats  # (n_elements,) pressure taken [Pa]
    fan_flow: Floats  # (n_fans,) [m³/s]
    fan_density: Floats  # (n_fans,)
    fan_rise: Floats  # (n_fans,)
    fan_torque: Floats  # (n_fans,) [N m]
    motor_torque: Floats  # (n_fans,) [N m]


class Coefficients(NamedTuple):
    """Formed once a step from positions and conditions."""

    quadratic: Floats  # (n_elements,)
    inertance: Floats  # (n_inert,) effective [1/m]
    stiffness: Floats  # (n_volumes,) c²/V [1/(m s²)]
    resistance: Floats  # (n_branches,) of a quasi-steady chain, Σ quadratic [1/m⁴]
    lean: Floats  # (n_branches,) Σ of products of pairs of quadratics over the resistance [1/m⁴]
    linear: Floats  # (n_branches,) Σ linear
    smoothing: Floats  # (n_branches,) [Pa]
    reference: Floats  # (n_fans,) speed reference


class Traces(NamedTuple):
    """One array a signal, (n_records, n_items); field names are the keys of the glossary."""

    setpoint: Floats
    measured_value: Floats
    true_value: Floats
    controller_output: Floats
    element_demand: Floats
    element_position: Floats
    element_pressure: Floats
    fan_flow: Floats
    fan_pressure: Floats
    fan_density: Floats
    stall_flow: Floats
    speed_ratio: Floats
    shaft_power: Floats
    motor_load: Floats
    electrical_power: Floats
    mass_flow: Floats
    node_pressure: Floats


@inlined
def offsets(plant):
    """Where the integrated states of this plant begin."""
    flow = plant.network.volume.size
    speed = flow + plant.network.inertance.size
    rise = speed + plant.fans.low.size
    reading = rise + plant.fans.low.size
    moved = reading + plant.loops.gain.size
    return Offsets(flow, speed, rise, reading, moved, moved + plant.network.first.size)


def n_integrated(plant: Plant) -> int:
    """Length of `State.moving`."""
    net = plant.network
    return (net.volume.size + net.inertance.size + 2 * plant.fans.low.size
            + plant.loops.gain.size + net.first.size)


def rest(plant: Plant) -> State:
    """An empty state of this plant's shape, all zero."""
    n_loops, n_actuators = plant.loops.gain.size, plant.actuators.loop.size
    longest = max([*plant.actuators.delay, *plant.transmitters.delay, 0]) + 1
    sizes = (n_integrated(plant), n_actuators, n_actuators, *[n_loops] * 5)
    return State(*[np.zeros(n) for n in sizes], np.zeros((n_actuators, longest)),
                 np.zeros((n_loops, longest)), np.zeros(3, dtype=np.int64))


def copy(state: State) -> State:
    """The same state in memory of its own."""
    return State(*[array.copy() for array in state])


def traces(plant: Plant) -> Traces:
    """Empty traces for a whole run, nan until recorded."""
    n = plant.last_tick // plant.record_steps + 1
    net = plant.network
    per = {"loop": plant.loops.gain.size, "element": plant.actuators.loop.size,
           "fan": plant.fans.low.size, "branch": net.first.size,
           "node": int(max(net.first.max(), net.last.max())) + 1}
    owners = ["loop"] * 4 + ["element"] * 3 + ["fan"] * 8 + ["branch", "node"]
    return Traces(*[np.full((n, per[owner]), np.nan) for owner in owners])
