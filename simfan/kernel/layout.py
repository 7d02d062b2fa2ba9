"""How a plant lies in memory: NamedTuples of arrays, floats and ints. SI throughout.

The network is general. Nodes 0..n_volumes-1 store air, the rest are boundaries. Branches
0..n_inert-1 have inertance and carry a flow as state, the rest are quasi-steady. A branch is a
chain of elements with one flow, from its first node to its last.

    boundary ──[loss]──[fan]──[damper]──► volume ──[damper]──[loss]──► boundary
                branch 0 (inertance)                branch 1 (quasi-steady)
"""

from typing import Any, NamedTuple

import numba
import numpy as np
from numpy.typing import ArrayLike

_OPTIONS: dict[str, Any] = {"cache": True, "error_model": "numpy", "nogil": True}
_UNCOUNTED = _OPTIONS | {"_nrt": False}

compiled = numba.njit(**_OPTIONS)
"""For what Python calls, and for what allocates."""
counted_nowhere = numba.njit(**_UNCOUNTED)
"""For the loop over steps: free of reference counts on the plant's arrays, which cost fifteen times
the arithmetic. It may not allocate, and Python may not call it."""
inlined = numba.njit(**_UNCOUNTED, inline="always")
"""For what runs inside a step: written into its caller, since passing the plant by value costs as
much as a slope."""

Floats = np.ndarray
Ints = np.ndarray

LOSS, DAMPER, FAN, INLET, SHUTTER = 0, 1, 2, 3, 4
"""Kinds of element; INLET is the loss of vanes or an inlet box damper before the wheel, SHUTTER
that of an isolation or a check damper."""

STANDS = -1.0
"""Target of a shutter that stays where it is."""

ON_LINE, ON_DRIVE, UNPOWERED = 0, 1, 2
"""What turns a rotor."""

ACTUAL_FLOW, MASS_FLOW, OUTLET_PRESSURE, NODE_PRESSURE, PRESSURE_BEFORE = 0, 1, 2, 3, 4
SPEED, LOAD, STALL_MARGIN, OUTPUT_OF = 5, 6, 7, 8
"""What a transmitter measures: volume flow at a wheel's inlet; a branch's mass flow times a scale;
gauge pressure behind a wheel, of a node, in front of an element; a rotor's speed ratio; its motor's
load; (Q − Q_stall)/Q of a wheel; the output of another loop at the last scan."""

AS_IT_IS, AS_ROOT_DENSITY, AS_ROOT_VOLUME = 0, 1, 2
"""Whether density misleads a flow reading: compensated; not, and read as volume (∝ √ρ); not, and
read as mass (∝ 1/√ρ)."""

UNLIMITED, OUTPUT, POSITION, INNER = 0, 1, 2, 3
"""Where a controller's external reset comes from; INNER is the reading of the loop it sets."""

LOWER, HIGHER = 0, 1
"""Which of two outputs a selector lets through."""

NOTHING, SETPOINT, READING = 0, 1, 2
"""What a feedforward table is looked up with."""

WELL, FROZEN, LOST_LOW, LOST_HIGH = 0, 1, 2, 3
"""How a transmitter fares: its reading stays, or stands at an end of its span."""

OVERLOAD, ABOVE, BELOW, SURGE = 0, 1, 2, 3
"""What a protection counts: heat of an overload, time beyond a limit, cycles of surge."""
ROOM = 256
"""Longest list of what protections did in a run; what does not fit is counted."""

ALARM, TRIP, RUN_BACK = 0, 1, 2
"""What a protection does: it is noted, the motor loses its supply, the output goes to a value."""

DONE, NOT_FINITE = 0, 1
"""How a segment of a run ended."""


def record(**fields: type) -> np.dtype:
    """A record of named numbers; an array of them is one argument to a compiled function, however
    many fields it has."""
    return np.dtype([(name, np.int64 if kind is int else np.float64)
                     for name, kind in fields.items()])


def rows(record_type: np.dtype, /, **columns: ArrayLike) -> np.recarray:
    """(n,) records of a type from a column for each field. KeyError for a field left out."""
    n = max((np.size(column) for column in columns.values()), default=0)
    made = np.zeros(n, dtype=record_type).view(np.recarray)
    for name in record_type.names or ():
        made[name] = columns[name]
    if unknown := set(columns) - set(record_type.names or ()):
        raise KeyError(f"no field {sorted(unknown)} in {record_type.names}")
    return made


def changed(table: np.recarray, **columns: ArrayLike) -> np.recarray:
    """The same records with some columns replaced."""
    made = table.copy()
    for name, column in columns.items():
        made[name] = column
    return made


class Gas(NamedTuple):
    R: float
    gamma: float


BRANCH = record(
    first=int,  # node
    last=int,  # node
)
ELEMENT = record(
    kind=int,
    index=int,  # row in the table of its kind
    quadratic=float,  # ζ/(2A²) [1/m⁴]: Δp = quadratic·ṁ|ṁ|/ρ
    linear=float,  # [Pa s/kg]: Δp = linear·ṁ
)


class Network(NamedTuple):
    volume: Floats  # (n_volumes,) [m³]
    branch: np.recarray  # (n_branches,) BRANCH
    inertance: Floats  # (n_inert,) ΣL/A [1/m]
    start: Ints  # (n_branches + 1,) offsets into the elements
    element: np.recarray  # (n_elements,) ELEMENT
    smoothing: float  # [Pa] below which a quasi-steady branch turns linear
    band: float  # [kg/s] over which a branch's temperature changes sides with its flow
    push: float  # [Pa] that may drive a flow from rest through a damper near shut; 0: none does


WHEEL = record(
    low=float,  # Q/n at the table's left end [m³/s]
    per_cell=float,  # cells per m³/s
    density=float,  # rated [kg/m³]
    lag=float,  # of the pressure rise [s]; 0 is none
    floor=float,  # least torque in forward flow at rated speed and density [N m]
    inlet=int,  # actuator of vanes or inlet box damper, -1 without
)


class Fans(NamedTuple):
    """`setting` counts the measured curves of a family, from shut to open; 1 without a family."""

    each: np.recarray  # (n_fans,) WHEEL
    cells: Floats  # (n_fans, n_settings, n_cells, 8) cubics of pressure and torque against Q/n
    reverse: Floats  # (n_fans, n_settings, 6) quadratics left of the table
    runout: Floats  # (n_fans, n_settings, 6) quadratics right of the table
    backward: Floats  # (n_fans, n_settings, 2) pressure, torque over n², turned backwards
    stall: Floats  # (n_fans, n_openings) Q/n of the stall line against inlet opening; nan: no line


INLET_ELEMENT = record(
    actuator=int,
    element=int,  # its loss
    fan=int,
    turn=float,  # κ: swirl angle over blade angle
    rise=float,  # s·p_d/Q_d: pressure taken by swirl over n·Q·tan α [Pa s/m³]
    torque=float,  # s·η_d·P_d/(ω₀·Q_d²): torque over Q²·tan α [N m s²/m⁶]
    loss=float,  # ζ·p_d/(ρ₀·Q_d²) [1/m⁴]
    leakage=float,  # ℓ: open share of the area when shut
)
"""Vanes or an inlet box damper without a measured family."""

ROTOR = record(
    mode=int,
    rated_speed=float,  # ω₀ of the fan [rad/s]
    momentum=float,  # J·ω₀ [N m s]
    rated_torque=float,  # of the motor, at the fan's shaft [N m]
    rated_power=float,  # [W]
    synchronous=float,  # speed ratio at no load, on the line
    base_speed=float,  # speed ratio at rated load
    breakdown=float,  # torque over rated torque
    breakdown_slip=float,
    current_limit=float,  # drive torque over rated torque
    braking=float,  # over rated torque
    lag=float,  # of the drive's speed loop [s]
    actuator=int,  # that carries the speed reference, -1 on the line
)


class Rotors(NamedTuple):
    each: np.recarray  # (n_fans,) ROTOR
    start: Floats  # (n_fans, n_points) torque over rated torque, equally spaced in speed from
    # standstill to that of breakdown
    loss: Floats  # (n_fans, 2, n_points) share of rated power; loss of motor, drive, belt over it


LOUVRE = record(
    actuator=int,
    element=int,
    area=float,  # [m²]
)


class Dampers(NamedTuple):
    each: np.recarray  # (n_dampers,) LOUVRE
    knots: Floats  # (n_dampers, n_pieces) opening where each piece begins
    log_loss: Floats  # (n_dampers, n_pieces, 4) ln ζ, a cubic in the opening from the piece's knot


SHUTTER_ELEMENT = record(
    branch=int,  # whose flow opens and shuts it
    area=float,  # [m²]
    loss=float,  # ζ wide open
    leakage=float,  # open share of the area when shut
    rate_up=float,  # [1/s]
    rate_down=float,  # [1/s]
)
"""An isolation or a check damper."""

ACTUATOR = record(
    rate_up=float,  # [1/s]
    rate_down=float,  # [1/s]
    lag=float,  # [s]
    decay=float,  # e^(-h/lag)
    delay=int,  # dead time in steps
    backlash=float,  # whole gap
    stick=float,  # resolution
    skip_low=float,  # demands between which it may not rest
    skip_high=float,
    loop=int,  # that moves it
)


class Actuators(NamedTuple):
    each: np.recarray  # (n_actuators,) ACTUATOR
    linkage: Floats  # (n_actuators, 2, n_points) position; opening (for a drive, the same)
    output: Floats  # (n_actuators, n_points) sequence table: controller output 0..1 ...
    demand: Floats  # (n_actuators, n_points) ... and the element's demand


TRANSMITTER = record(
    place=int,  # what it measures
    index=int,  # which fan, branch, node or element
    branch=int,  # whose flow passes it
    fan=int,  # whose inlet density a flow reading goes by
    scale=float,  # on a mass flow: 1, or 1/ρ of a reference state
    misled=int,  # how density misleads it
    design_density=float,  # that an uncompensated reading assumes [kg/m³]
    surroundings=int,  # node that gauge pressures are counted from
    low=float,  # of the span
    span=float,
    root=int,  # 1: the signal is a differential pressure, its root is taken after
    cut_off=float,  # share of span below which a root reading is zero
    quantum=float,  # of the raw signal, 0 is none
    lag=float,  # [s]; 0 is none
    delay=int,  # dead time in steps
)
"""One for each loop."""

LOOP = record(
    gain=float,  # [1], on spans; negative where more output lowers the value
    reset=float,  # Ti [s]
    derivative=float,  # Kc·N, 0 without derivative [1]
    derivative_decay=float,  # e^(-N·scan/Td)
    weight=float,  # of the setpoint
    low=float,  # output limits ...
    high=float,
    most_change=float,  # ... and rate, in one scan
    reset_from=int,
    actuator=int,  # whose position may be the reset
    source=int,  # loop whose output is the setpoint, -1: the timeline
    inner=int,  # loop whose setpoint this one's output is, -1: none
    overrides=int,  # loop that this one overrides through a selector, -1: none
    select=int,  # which of the two outputs passes
    most_aim=float,  # change of the working setpoint in one scan, on spans
    gap=float,  # half width of the band of small errors, on spans; 0 is none
    gap_share=float,  # of the gain within it
    feed=int,  # what the feedforward is looked up with
    feed_share=float,  # of the feedforward that goes on at a scan, 1 without a lag
)


GUARD = record(
    counts=int,
    place=int,  # what it looks at, as a transmitter
    index=int,
    limit=float,  # of the value; of an overload the load it bears for good
    delay=float,  # time beyond the limit [s]; of an overload the time constant of the heat
    bypass=float,  # after a start of the motor it does not look for so long [s]
    effect=int,
    output=float,  # of a run-back
    loop=int,  # put in manual by a run-back
    reset=float,  # by itself once the cause is gone for so long [s]; negative: by the next start
    swing=float,  # of flow that is a surge cycle [m³/s]
    window=float,  # in which `limit` cycles end [s]
    longest=int,  # scans that a cycle's valley may be wide
)
"""A protection."""


class Plant(NamedTuple):
    gas: Gas
    network: Network
    fans: Fans
    rotors: Rotors
    dampers: Dampers
    inlets: np.recarray  # (n_inlets,) INLET_ELEMENT
    shutters: np.recarray  # (n_shutters,) SHUTTER_ELEMENT
    actuators: Actuators
    transmitters: np.recarray  # (n_loops,) TRANSMITTER
    loops: np.recarray  # (n_loops,) LOOP
    feeds: Floats  # (n_loops, 2, n_points) feedforward: setpoint or reading on spans; output
    guards: np.recarray  # (n_guards,) GUARD
    step: float  # h [s]
    scan_steps: int
    record_steps: int
    last_tick: int


class Conditions(NamedTuple):
    """What the timeline prescribes; one row of the schedule."""

    setpoint: Floats  # (n_loops,)
    manual: Floats  # (n_loops,) output in manual; nan: automatic, negative: as it is
    noise: Floats  # (n_loops,) of the raw signal's span
    forced: Floats  # (n_actuators,) where a failure drives it; nan: none, negative: where it is
    pressure: Floats  # (n_nodes,) of boundaries; for volumes only a scale [Pa]
    temperature: Floats  # (n_nodes,) [K]
    factor: Floats  # (n_elements,) on each resistance
    power: Floats  # (n_fans,) 0 without supply to the motor, else how often it was switched on
    reading: Floats  # (n_loops,) WELL or how the transmitter fails
    bias: Floats  # (n_loops,) of its raw signal, of the span
    slow: Floats  # (n_actuators,) on each rate
    offset: Floats  # (n_actuators,) of the stem from the demand
    shutter: Floats  # (n_shutters,) wanted position; nan: as its flow wants it, or STANDS


class Schedule(NamedTuple):
    """The conditions of every scan, (n_scans, ...)."""

    setpoint: Floats
    manual: Floats
    noise: Floats
    forced: Floats
    pressure: Floats
    temperature: Floats
    factor: Floats
    power: Floats
    reading: Floats
    bias: Floats
    slow: Floats
    offset: Floats
    shutter: Floats


BOOK = record(
    anchor=float,  # pressure at the last change of temperature [Pa]
    stored=float,  # mass taken in before that [kg]
)
MEMORY = record(
    output=float,  # limited controller output 0..1
    unlimited=float,
    integral=float,
    derivative=float,
    reading=float,  # what the controller last saw
    aim=float,  # working setpoint, on spans
    feed=float,  # feedforward after its lag
)
WATCH = record(
    beyond=float,  # time beyond the limit [s], or heat as a load squared
    acts=int,  # 1 while it has acted and nobody reset it
    holds=int,  # 1 while its effect lasts; that of a trip lasts to the next start
    waits=float,  # bypass that is left [s]
    gone=float,  # time without its cause [s]
    seen=int,  # flows of a surge count so far
    falling=int,  # 1 once the flow has fallen by the swing
    left=int,  # 1 where the bottom lies left of the stall line
    top=float,  # last maximum of flow [m³/s]
    bottom=float,  # since then [m³/s]
    ended=int,  # surge cycles so far
)
ACTED = record(
    tick=int,
    guard=int,
    acts=int,  # 1 acted, 0 reset
)


class State(NamedTuple):
    """Everything that a run remembers."""

    moving: Floats  # integrated: pressure, flow, speed, lagged rise, lagged reading, mass moved
    volume: np.recarray  # (n_volumes,) BOOK
    stem: Floats  # (n_actuators,) of the actuator
    position: Floats  # (n_actuators,) of the element, after backlash and stick
    demand: Floats  # (n_actuators,) after the sequence table
    shutter: Floats  # (n_shutters,) open share of the stroke
    loop: np.recarray  # (n_loops,) MEMORY
    demand_queue: Floats  # (n_actuators, longest delay + 1)
    reading_queue: Floats  # (n_loops, longest delay + 1)
    guard: np.recarray  # (n_guards,) WATCH
    flows: Floats  # (n_guards, longest valley in scans) last flows of a surge count [m³/s]
    cycles: Ints  # (n_guards, most cycles counted) ticks at which they ended, -1: none
    acted: np.recarray  # (ROOM,) ACTED, the first `counts[NOTED]` of them
    supply: Floats  # (n_fans,) `Conditions.power` at the last scan
    counts: Ints  # tick, stiff steps, index of the state that is not finite, rows' acts and
    # resets that are listed, those that are not


TICK, STIFF, CULPRIT, NOTED, UNNOTED = range(5)
"""Places in `State.counts`."""


class Offsets(NamedTuple):
    """Where each kind of integrated state begins in `State.moving`."""

    flow: int
    speed: int
    rise: int
    reading: int
    moved: int
    end: int


PASSAGE = record(
    flow=float,  # volume flow at the wheel's inlet [m³/s]
    density=float,
    rise=float,  # [Pa]
    torque=float,  # of the wheel [N m]
    outlet=float,  # pressure behind the wheel [Pa]
    motor_torque=float,  # [N m]
    speed=float,  # ratio
)


class Probe(NamedTuple):
    """What the equations pass through on their way to a slope."""

    pressure: Floats  # (n_nodes,)
    flow: Floats  # (n_branches,) [kg/s]
    drop: Floats  # (n_elements,) pressure taken [Pa]
    fan: np.recarray  # (n_fans,) PASSAGE


CHAIN = record(
    resistance=float,  # Σ quadratic of a quasi-steady chain [1/m⁴]
    lean=float,  # Σ of products of pairs of quadratics over the resistance [1/m⁴]
    linear=float,  # Σ linear
    smoothing=float,  # [Pa]
)
SETTING = record(
    reference=float,  # of speed
    setting=float,  # place in the family, 0 to n_settings - 1
    swirl_rise=float,  # [Pa s/m³]
    swirl_torque=float,  # [N m s²/m⁶]
    opening=float,  # of vanes or inlet box damper, 1 without
    power=float,  # 1 where the motor has its supply, else 0
)


class Coefficients(NamedTuple):
    """Formed once a step from positions and conditions."""

    quadratic: Floats  # (n_elements,)
    inertance: Floats  # (n_inert,) effective [1/m]
    stiffness: Floats  # (n_volumes,) c²/V [1/(m s²)]
    branch: np.recarray  # (n_branches,) CHAIN
    fan: np.recarray  # (n_fans,) SETTING
    shutter: Floats  # (n_shutters,) open share of the stroke, 1 until set


class Traces(NamedTuple):
    """One array a signal, (n_records, n_items); field names are the keys of the glossary."""

    setpoint: Floats
    measured_value: Floats
    true_value: Floats
    controller_output: Floats
    element_demand: Floats
    element_position: Floats
    element_pressure: Floats
    shutter_position: Floats
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
    rise = speed + plant.fans.each.size
    reading = rise + plant.fans.each.size
    moved = reading + plant.loops.size
    return Offsets(flow, speed, rise, reading, moved, moved + plant.network.branch.size)


def n_integrated(plant: Plant) -> int:
    """Length of `State.moving`."""
    net = plant.network
    return (net.volume.size + net.inertance.size + 2 * plant.fans.each.size
            + plant.loops.size + net.branch.size)


def n_nodes(plant: Plant) -> int:
    """Nodes of the network, volumes and boundaries."""
    return int(max(plant.network.branch.first.max(), plant.network.branch.last.max())) + 1


def rest(plant: Plant) -> State:
    """An empty state of this plant's shape, all zero."""
    n_loops, n_actuators = plant.loops.size, plant.actuators.each.size
    longest = max([*plant.actuators.each.delay, *plant.transmitters.delay, 0]) + 1
    guards, n_guards = plant.guards, plant.guards.size
    most = int(max([1, *guards.limit[guards.counts == SURGE]]))
    return State(
        np.zeros(n_integrated(plant)), blank(BOOK, plant.network.volume.size),
        np.zeros(n_actuators), np.zeros(n_actuators), np.zeros(n_actuators),
        np.ones(plant.shutters.size), blank(MEMORY, n_loops), np.zeros((n_actuators, longest)),
        np.zeros((n_loops, longest)),
        blank(WATCH, n_guards), np.zeros((n_guards, max([0, *guards.longest]) + 2)),
        np.full((n_guards, most), -1), blank(ACTED, ROOM if n_guards else 0),
        np.ones(plant.fans.each.size), np.zeros(5, dtype=np.int64))


def blank(kind: np.dtype, n: int) -> np.recarray:
    """(n,) records, all zero."""
    return np.zeros(n, dtype=kind).view(np.recarray)


def copy(state: State) -> State:
    """The same state in memory of its own."""
    return State(*(array.copy() for array in state))  # type: ignore[arg-type]


def new_probe(plant: Plant) -> Probe:
    """An empty probe of this plant's shape."""
    net = plant.network
    return Probe(np.zeros(n_nodes(plant)), np.zeros(net.branch.size), np.zeros(net.element.size),
                 blank(PASSAGE, plant.fans.each.size))


def new_coefficients(plant: Plant) -> Coefficients:
    """Empty coefficients of this plant's shape."""
    net = plant.network
    fans = blank(SETTING, plant.fans.each.size)
    fans.power[:] = 1.0
    return Coefficients(np.zeros(net.element.size), np.zeros(net.inertance.size),
                        np.zeros(net.volume.size), blank(CHAIN, net.branch.size), fans,
                        np.ones(plant.shutters.size))


def traces(plant: Plant) -> Traces:
    """Empty traces for a whole run, nan until recorded."""
    n = plant.last_tick // plant.record_steps + 1
    per = {"loop": plant.loops.size, "element": plant.actuators.each.size,
           "shutter": plant.shutters.size, "fan": plant.fans.each.size,
           "branch": plant.network.branch.size, "node": n_nodes(plant)}
    owners = ["loop"] * 4 + ["element"] * 3 + ["shutter"] + ["fan"] * 8 + ["branch", "node"]
    return Traces(*[np.full((n, per[owner]), np.nan) for owner in owners])
