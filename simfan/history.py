"""What happened in a run: time, named traces, an ordered log. Knows nothing of how it was made."""

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from simfan.frames import loaded_pandas
from simfan.shown import Shown
from simfan.signals import HELD_UNITS, SIGNALS

if TYPE_CHECKING:
    import pandas

Array = np.ndarray


@dataclass(frozen=True)
class Happening:
    """One line of a run's log."""

    at_s: float
    """[s]."""
    what: str
    """In plain words, such as "setpoint 45 → 36 m3/s"."""
    short: str = field(default="", compare=False)
    """A word or two for a picture, such as "motor on"; "" where the line needs no mark there."""


@dataclass(frozen=True)
class SetpointChange:
    """A change of the setpoint, step or ramp, as the timeline made it. SI."""

    at_s: float
    """[s]."""
    until_s: float
    """Start of the next change of any kind, or the end of the run [s]: the window to judge."""
    start: float
    """Setpoint before it [m³/s, kg/s or Pa]."""
    end: float
    """Setpoint after it [m³/s, kg/s or Pa]."""
    over_s: float = 0.0
    """Length of the ramp [s]; 0 for a step."""


@dataclass(frozen=True)
class Carried:
    """A procedure that was begun, and what came of it."""

    name: str
    """"start", "stop" or "restart"."""
    begun_s: float
    """[s]."""
    ended_s: float | None = None
    """[s]; None where it was under way at the end of the run."""
    outcome: str = "under way"
    """"complete", "failed", "broken off" or "under way"."""
    why: str = ""
    """Why it failed or was broken off."""
    released_s: float | None = None
    """When a start released the loop to automatic [s]; None where it did not."""
    speed_after_s: float | None = None
    """From switching on to full speed [s]; None where that was not reached."""
    rotor_heat_j: float | None = None
    """∫ T·(ω_s − ω) dt of a start on the line [J]; None for a drive."""
    locked_s: float | None = None
    """The time locked at standstill that heats the rotor as much [s]."""
    hot: bool | None = None
    """Whether the motor had run within the time in which it cools down."""
    allowed_s: float | None = None
    """Locked-rotor time that the motor's maker states for that state [s]; None where not known."""
    standstill_after_s: float | None = None
    """From switching off to standstill [s]; None where it was not waited for or not reached."""

    @property
    def margin_percent(self) -> float | None:
        """100·(1 − locked/allowed) [%]; below zero the start takes more than its maker allows."""
        if self.locked_s is None or self.allowed_s is None:
            return None
        return 100.0 * (1.0 - self.locked_s / self.allowed_s)


@dataclass(frozen=True)
class Guarded:
    """One row of the cause-and-effect table, and what it did."""

    cause: str
    """What is watched, such as "speed above 110 % of rated"."""
    effect: str
    """"alarm", "trip" or "run-back"."""
    output: float | None = None
    """Where the controller's output goes [1]; None where it stays."""
    delay: str = ""
    """How long the cause must last; "" for not at all."""
    reset: str = ""
    """When what it did is over."""
    bypass_s: float = 0.0
    """After a start of the motor it does not look for so long [s]."""
    acted_s: tuple[float, ...] = ()
    """When it acted [s]."""
    reset_s: tuple[float, ...] = ()
    """When it was reset [s]."""


@dataclass(frozen=True)
class FanMap:
    """The wheel's curve at rated speed and density, and the system curve at the run's start. SI."""

    flow: tuple[float, ...]
    """Of the wheel's curve [m³/s]."""
    pressure: tuple[float, ...]
    """Static pressure rise at each flow [Pa]."""
    system_flow: tuple[float, ...]
    """Of the system curve [m³/s]."""
    system_pressure: tuple[float, ...]
    """What the system takes at each flow [Pa]."""
    stall_flow: float | None
    """At rated speed [m³/s]; None where the curve has no peak."""
    stall_basis: str
    """"the maker's stall point" or "peak of the curve"."""
    density: float | None = None
    """Of the rated curve [kg/m³], so that a page can draw the curve at the density of the run."""


@dataclass(frozen=True)
class Robustness:
    """How robust a tuning is over one range common to all strategies, for small moves. SI."""

    sought: bool
    """Whether the gains were sought; else they are the scenario's."""
    target: float
    """Ms to which gains are sought [1]."""
    low: float | None = None
    """Lower end of the range [held unit]; None where no range is common to all strategies."""
    high: float | None = None
    """Its upper end [held unit]."""
    gains: tuple[float, float] | None = None
    """Gain [% of output per % of span] and reset [s] that were judged; None where none is."""
    sensitivity: float | None = None
    """Ms, largest |S| over the points of the range [1]; None where the loop is unstable at one."""
    worst_at: float | None = None
    """Held value with the largest |S| [held unit]."""
    unstable_at: tuple[float, ...] = ()
    """Held values of the range at which the loop is unstable [held unit]."""
    largest_step: float | None = None
    """Setpoint step beyond which an element's rate limit rules the loop [held unit]; None for no
    such limit."""
    fastest_ramp: float | None = None
    """Rate of the held value with every element at its own fastest [held unit/s]; None for no such
    limit."""
    full_travel: float | None = None
    """Time from 0 to 100 % output in which every element follows [s]; None for no such limit. With
    sought gains the output is held to it, unless the scenario says otherwise."""
    why: str | None = None
    """Why there is no tuning, or no Ms."""


@dataclass(frozen=True)
class Facts:
    """What a judge must know of a run beside its traces. SI."""

    title: str
    """The scenario's title."""
    strategy: str
    """The strategy's name."""
    method: str
    """The trade's word for what moves."""
    holds: str
    """"flow" or "pressure"."""
    held_kind: str
    """Kind of unit of setpoint and measured value: "volume flow", "mass flow" or "pressure"."""
    known_flow: tuple[float, float]
    """Lowest and highest flow of the maker's points at rated speed [m³/s]."""
    duration_s: float
    """[s]."""
    record_s: float
    """Interval of the samples [s]."""
    rated_speed: float
    """[rad/s]."""
    max_safe_speed_ratio: float
    """Of rated speed [1]."""
    motor_rating: float
    """[W]."""
    price_per_kwh: float
    """[`currency`/kWh]."""
    currency: str
    """As the scenario says it."""
    fan_map: FanMap
    """For the picture."""
    changes: tuple[SetpointChange, ...]
    """Of the setpoint, in the order of time."""
    events_at_s: tuple[float, ...]
    """Instants of every event of the timeline, setpoint or not [s]."""
    tuning: Mapping[str, float | str]
    """The controller's, by name; times [s], spans [m³/s, kg/s or Pa]."""
    sequence: Mapping[str, tuple[tuple[float, float], ...]]
    """Element → (controller output, element demand) breakpoints, 0 to 1 [1]."""
    assumed: tuple[str, ...]
    """Every default and assumption that went into the run, in plain words."""
    findings: tuple[str, ...] = ()
    """What the strategy cannot do, such as a setpoint out of its reach."""
    structure: str = "one loop"
    """How the strategy's loops stand together."""
    loop_kinds: tuple[str, ...] = ()
    """Kind of unit of what each loop reads; empty where all read what is held."""
    other_loops: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    """Loop beside, below or over the first → its `gain` [1, on spans] and `reset_s` [s]."""
    limiting: tuple[str, ...] = ()
    """Loops that hold nothing for the user: they take the output over at a limit."""
    procedures: tuple[Carried, ...] = ()
    """Every procedure that was begun, in the order of time."""
    procedure_steps: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Procedure → its steps in words."""
    protection: tuple[Guarded, ...] = ()
    """The cause-and-effect table, row by row."""
    natural_period_s: float | None = None
    """Longest in which the plant's air swings by itself [s], 2π/ω_H with ω_H = c·√(A/(VL));
    None where it is not known."""
    robustness: Robustness | None = None
    """Of the controller's tuning; None where it was not looked for."""
    noise: float = 0.0
    """Standard deviation of each scan's reading, of the transmitter's raw span [1]; 0 for none."""
    square_root: bool = False
    """Whether the transmitter takes a square root behind that noise."""


@dataclass(frozen=True)
class Audit:
    """The run's account of its own arithmetic."""

    step_s: float
    """[s]."""
    steps: int
    """[1]."""
    fastest_time_constant_s: float
    """1/|λ| of the fastest state [s]."""
    mass_balance_residual: float
    """|stored − (in − out)| over what passed, worst node [1]."""
    stiff_steps: int
    """Steps [1] in which a closing element's inertance was raised to keep the step stable."""
    half_step_difference: float | None = None
    """Largest difference of any recorded trace against half the step, of its range [1]; on
    request."""
    stopped: str | None = None
    """Why the run stopped on its numbers: state, time; None for a complete run."""


@dataclass(frozen=True, repr=False)
class History(Shown):
    """A run. `traces[name]` has shape (n_samples, n_items); names and units in `signals`."""

    time: Array
    """(n_samples,) [s]."""
    traces: Mapping[str, Array]
    """Name → (n_samples, n_items) [SI]; names and units in `simfan.signals`."""
    items: Mapping[str, tuple[str, ...]]
    """For each "loop", "element", "shutter", "fan", "branch", "node": the names of the columns."""
    log: tuple[Happening, ...]
    """What happened, in the order of time."""
    facts: Facts
    """What a judge must know beside the traces."""
    audit: Audit
    """The run's account of its own arithmetic."""
    without_noise: Callable[[], "History"] | None = field(default=None, compare=False)
    """Makes the same run without its transmitter's noise; None where there is none, or nobody
    knows how."""

    def rows(self, part: slice) -> "History":
        """Some of its samples, with all that is known beside them."""
        return replace(self, time=self.time[part],
                       traces={name: values[part] for name, values in self.traces.items()})

    def trace(self, name: str, item: str | int = 0) -> Array:
        """One column of a trace, by the item's name or number. KeyError names what there is."""
        if name not in self.traces:
            raise KeyError(f"no trace {name!r}; there are {', '.join(self.traces)}")
        columns = self.items[SIGNALS[name].per]
        if isinstance(item, str) and item not in columns:
            raise KeyError(f"{name!r} has no item {item!r}; there are {', '.join(columns)}")
        return self.traces[name][:, columns.index(item) if isinstance(item, str) else item]

    def unit(self, name: str, item: int = 0) -> str:
        """SI unit of a trace, such as "m3/s"; "1" for a share. Loops may differ in theirs."""
        signal = SIGNALS[name]
        if signal.kind != "held":
            return signal.unit
        kinds = self.facts.loop_kinds or (self.facts.held_kind,)
        return HELD_UNITS.get(kinds[min(item, len(kinds) - 1)], "1")

    def save(self, path: Path) -> None:
        """Write all of it as one `.npz` file."""
        words = {
            "items": {k: list(v) for k, v in self.items.items()},
            "log": [asdict(h) for h in self.log],
            "facts": asdict(self.facts),
            "audit": asdict(self.audit),
        }
        arrays: dict[str, Any] = {f"trace_{k}": v for k, v in self.traces.items()}
        everything: dict[str, Any] = {"time": self.time, "words": np.array(json.dumps(words))}
        np.savez_compressed(path, **everything, **arrays)

    def columns(self) -> list[tuple[str, Array]]:
        """(heading with unit, values) of every trace, for a table in a text file."""
        rows = [("time [s]", self.time)]
        for name, values in self.traces.items():
            for i, item in enumerate(self.items[SIGNALS[name].per]):
                rows.append((f"{name} of {item} [{self.unit(name, i)}]", values[:, i]))
        return rows

    def to_pandas(self) -> "pandas.DataFrame":
        """The traces as a frame of shape (n_samples, n_columns): `frame["fan_flow", "fan"]`.

        The index is `time` [s], the columns are (signal, item); `frame.attrs["units"]` has the
        unit of each signal and of time, SI. Raises RunError where pandas is missing.
        """
        pd = loaded_pandas()
        names = [(name, item) for name in self.traces for item in self.items[SIGNALS[name].per]]
        frame = pd.DataFrame(
            np.hstack(list(self.traces.values())), index=pd.Index(self.time, name="time"),
            columns=pd.MultiIndex.from_tuples(names, names=["signal", "item"]))  # fmt: skip
        frame.attrs = {"title": self.facts.title, "strategy": self.facts.strategy,
                       "units": {"time": "s", **{name: self.unit(name) for name in self.traces}}}
        return frame

    def save_csv(self, path: Path) -> None:
        """Write the traces as comma-separated text, one heading line with units."""
        headings, values = zip(*self.columns(), strict=True)
        head = ",".join(f'"{h}"' for h in headings)
        np.savetxt(path, np.column_stack(values), delimiter=",", header=head, comments="",
                   fmt="%.9g")


def load(path: Path) -> History:
    """Read what `History.save` wrote."""
    with np.load(path) as file:
        words = json.loads(str(file["words"]))
        traces = {k.removeprefix("trace_"): file[k] for k in file.files if k.startswith("trace_")}
        time = file["time"]
    facts = words["facts"]
    fan_map: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v
                               for k, v in facts["fan_map"].items()}
    facts["fan_map"] = FanMap(**fan_map)
    if found := facts.get("robustness"):
        robustness: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v
                                      for k, v in found.items()}
        facts["robustness"] = Robustness(**robustness)
    facts["protection"] = tuple(_guarded(row) for row in facts.get("protection", ()))
    facts["changes"] = tuple(SetpointChange(**c) for c in facts["changes"])
    facts["procedures"] = tuple(Carried(**c) for c in facts.get("procedures", ()))
    facts["sequence"] = {k: tuple(map(tuple, v)) for k, v in facts["sequence"].items()}
    facts["procedure_steps"] = {k: tuple(v) for k, v in facts.get("procedure_steps", {}).items()}
    for key in ("events_at_s", "assumed", "findings", "known_flow", "loop_kinds", "limiting"):
        facts[key] = tuple(facts[key])
    return History(
        time=time,
        traces=traces,
        items={k: tuple(v) for k, v in words["items"].items()},
        log=tuple(Happening(**h) for h in words["log"]),
        facts=Facts(**facts),
        audit=Audit(**words["audit"]),
    )


def _guarded(row: dict[str, Any]) -> Guarded:
    """As it was before it was written."""
    return Guarded(**row | {key: tuple(row[key]) for key in ("acted_s", "reset_s")})
