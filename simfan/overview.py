"""The operating maps of a scenario's strategies beside one another: the answer of `simfan map`."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from simfan import __version__
from simfan.compare import ScenarioNote
from simfan.metrics import plain, with_reasons
from simfan.metrics.year import YearEnergy
from simfan.operating_map import (
    Band,
    BestPath,
    Curve,
    OperatingMap,
    OperatingPoint,
    Region,
    Share,
    StrategyMap,
    Turndown,
)
from simfan.plant.case import Criteria
from simfan.signals import HELD_UNITS

SCHEMA_VERSION = 1
SHARES = (1.0, 0.8, 0.6, 0.4)
"""Of the process's design flow, at which the strategies' power is held against one another: the
same whichever strategies are asked for."""
BAND_UNITS = {"volume flow": ("_m3s", 1.0), "mass flow": ("_kg_s", 1.0), "pressure": ("_pa", 1.0),
              "power": ("_kw", 1e-3), "fraction": ("_percent", 100.0)}
"""Kind of a banded answer → ending of its names, and what makes that unit of SI."""
NO_LINE = "the fan has no stall line at this setting, or no flow forward"
NO_FLOW = "no flow forward"
NO_RATIO = {
    "flow": "no point is within all limits",
    "pressure": "a ratio of pressures says nothing; see flow_ratio",
}


@dataclass(frozen=True)
class PartLoad:
    """Each strategy at the same shares of the process's design flow."""

    design_flow: float
    """[m³/s], counted at the fan's inlet."""
    points: Mapping[str, tuple[OperatingPoint | None, ...]]
    """By strategy, one for each of SHARES; None where no output gives that flow."""


@dataclass(frozen=True)
class Overview:
    """The answer to a scenario over the whole range of flow."""

    map: OperatingMap
    criteria: Criteria
    part_load: PartLoad
    years: Mapping[str, YearEnergy] = field(default_factory=dict)
    """Energy and cost of a year by strategy; empty where the scenario gives no load profile."""
    note: ScenarioNote | None = None
    """None: the map's own title, not read from a file."""

    @property
    def title(self) -> str:
        """The scenario's title."""
        return self.map.title

    @property
    def scenario(self) -> ScenarioNote:
        """Which scenario was asked."""
        return self.note or ScenarioNote(self.title, self.map.file, self.map.fingerprint)

    def to_json(self) -> dict[str, Any]:
        """SI, kW and kWh, every name with its unit, null with a reason where no number exists."""
        return {
            "schema_version": SCHEMA_VERSION,
            "simfan": __version__,
            "scenario": with_reasons(plain(self.scenario), {
                "file": "the scenario was not read from a file",
                "fingerprint": "no fingerprint was taken of the scenario"}),
            "holds": self.map.held_kind,
            "design_flow_m3s": self.part_load.design_flow,
            "system": _curve(self.map.system),
            "assumed": list(self.map.assumed),
            "strategies": [self._strategy(s) for s in self.map.strategies],
        }

    def _strategy(self, found: StrategyMap) -> dict[str, Any]:
        kind = self.map.held_kind
        points = self.part_load.points.get(found.name, ())
        return with_reasons({
            "name": found.name,
            "method": found.method,
            "elements": list(found.elements),
            "points": [point(p, kind) for p in found.points],
            "other_solutions": [point(p, kind) for p in found.others],
            "turndown": _turndown(found.turndown, kind),
            "part_load": [_at_share(share, p, kind)
                          for share, p in zip(SHARES, points, strict=False)],
            "gain_ratio": found.gain_ratio,
            "curves": [_curve(c) for c in found.curves],
            "stall_line": _curve(found.stall_line) if found.stall_line else None,
            "region": _region(found.region) if found.region else None,
            "bands": {name: _band(b) for name, b in found.bands.items()} or None,
            "best_path": _best(found.best_path, kind) if found.best_path else None,
            "year": _year(self.years.get(found.name), kind),
            "findings": list(found.findings),
        }, {
            "gain_ratio": "fewer than two points within the limits",
            "stall_line": "the fan's curve has no stall line here",
            "region": "not computed",
            "bands": "neither days nor a tolerance of the curve are stated",
            "best_path": "sought where two elements share the output",
            "year": "the scenario gives no load profile",
        })


def unit_name(kind: str) -> str:
    """The unit of what is held as part of a name: "m3s", "kg_s", "pa"."""
    return {"m3/s": "m3s", "kg/s": "kg_s", "Pa": "pa"}[HELD_UNITS[kind]]


def point(p: OperatingPoint, kind: str) -> dict[str, Any]:
    """One operating point by its names in the JSON; `kind` is that of what is held."""
    unit = unit_name(kind)
    return with_reasons(plain({
        f"held_{unit}": p.held,
        "output_percent": 100.0 * p.output,
        "flow_m3s": p.flow,
        "mass_flow_kg_s": p.mass_flow,
        "pressure_pa": p.pressure,
        "volume_pressure_pa": p.volume_pressure,
        "density_kg_m3": p.density,
        "speed_percent": 100.0 * p.speed,
        "positions": {name: 100.0 * y for name, y in p.positions.items()},
        "blade_angles_deg": dict(p.blade_angles),
        "taken_pa": dict(p.taken),
        **_margin(p),
        "shaft_kw": 1e-3 * p.shaft_power,
        "electrical_kw": 1e-3 * p.electrical_power,
        "current_a": p.current,
        "motor_load_percent": 100.0 * p.motor_load,
        "specific_energy_kwh_per_1000_m3": _times(p.specific_energy, 1e3 / 3.6e6),
        "fan_efficiency_percent": _times(p.efficiency, 100.0),
        "stability": p.stability,
        "stable": p.stable,
        "fan_slope_pa_s_per_m3": p.fan_slope,
        "system_slope_pa_s_per_m3": p.system_slope,
        "critical_volume_m3": p.critical_volume,
        f"gain_{unit}_per_percent": _times(p.gain, 0.01),
        "reached_by_start": p.reached,
        "missed": list(p.missed),
    }), _POINT_REASONS | {f"gain_{unit}_per_percent": "no gain was found here: an end of the "
                          "range, an output without effect, or a point beside the path"})


_POINT_REASONS = {
    "stall_flow_m3s": "the fan has no stall line at this setting",
    "stall_margin_percent": NO_LINE,
    "flow_over_stall_percent": NO_LINE,
    "specific_energy_kwh_per_1000_m3": NO_FLOW,
    "fan_efficiency_percent": NO_FLOW,
    "critical_volume_m3": "the branch of the fan falls with the flow: stable with any volume",
}


def _margin(p: OperatingPoint) -> dict[str, float | None]:
    over = 100.0 * p.flow / p.stall_flow if p.stall_flow and p.flow > 0.0 else None
    return {"stall_flow_m3s": p.stall_flow,
            "stall_margin_percent": _times(p.stall_margin, 100.0),
            "flow_over_stall_percent": over}


def _turndown(found: Turndown, kind: str) -> dict[str, Any]:
    unit = unit_name(kind)
    ends = {"highest": found.highest, "lowest": found.lowest}
    known = {f"{name}_m3s": p.flow if p else None for name, p in ends.items()}
    known |= {f"{name}_held_{unit}": p.held if p else None for name, p in ends.items()}
    why = NO_RATIO["flow"]
    return with_reasons(
        {**known, "ratio": held_ratio(found, kind), "flow_ratio": flow_ratio(found),
         "ended_above_by": found.ended_above_by, "ended_below_by": found.ended_below_by},
        dict.fromkeys(known, why) | {"ratio": NO_RATIO.get(kind, why), "flow_ratio": why})


def held_ratio(found: Turndown, kind: str) -> float | None:
    """Of what is held; None for pressures, whose zero is a matter of taste."""
    return None if kind == "pressure" else found.ratio


def flow_ratio(found: Turndown) -> float | None:
    """Highest over lowest flow at the fan's inlet; None where either is missing."""
    if found.highest is None or found.lowest is None or found.lowest.flow <= 0.0:
        return None
    return found.highest.flow / found.lowest.flow


def _at_share(share: float, p: OperatingPoint | None, kind: str) -> dict[str, Any]:
    return with_reasons(
        {"design_flow_percent": 100.0 * share, "point": point(p, kind) if p else None},
        {"point": "no controller output gives this flow"})


def _curve(found: Curve) -> dict[str, Any]:
    return {"what": found.what, "flow_m3s": list(found.flow), "pressure_pa": list(found.pressure)}


def _region(found: Region) -> dict[str, Any]:
    known: dict[str, Any] = {
        "flow_m3s": list(found.flow),
        "lowest_pa": list(found.lowest),
        "highest_pa": list(found.highest),
        "highest_at_percent": [at and {k: 100.0 * y for k, y in at.items()}
                               for at in found.highest_at],
        "rated_open_pa": list(found.rated_open) or None,
    }
    gaps = dict.fromkeys(known, "null: no setting serves at this flow")
    return _gaps_told(
        with_reasons(known, {"rated_open_pa": "the strategy has no such setting"}), gaps)


def _band(found: Band) -> dict[str, Any]:
    """The unit of low and high is in their names, as the kind of the answer has it."""
    unit, scale = BAND_UNITS.get(found.kind, ("", 1.0))
    return {f"low{unit}": scale * found.low, f"high{unit}": scale * found.high,
            "low_in": found.low_in, "high_in": found.high_in}


def _year(found: YearEnergy | None, kind: str) -> dict[str, Any] | None:
    """The ends of a bin carry the unit of what is held."""
    if found is None:
        return None
    unit = unit_name(kind)
    told = dict(plain(found))
    told["bins"] = [{f"{k}_{unit}" if k in ("low", "high") else k: v for k, v in b.items()}
                    for b in told["bins"]]
    return told


def _best(found: BestPath, kind: str) -> dict[str, Any]:
    return {
        f"held_{unit_name(kind)}": list(found.held),
        "electrical_kw": [1e-3 * p for p in found.electrical_power],
        "table_percent": {k: [100.0 * y for y in v] for k, v in found.table.items()},
        "excess_percent": 100.0 * found.excess,
        "ways": [_way(w, kind) for w in found.ways],
    }


def _way(way: Share, kind: str) -> dict[str, Any]:
    known: dict[str, Any] = {
        "name": way.name,
        f"held_{unit_name(kind)}": list(way.held),
        "electrical_kw": _numbers(1e-3 * p for p in way.electrical_power),
        "stall_margin_percent": _numbers(100.0 * m for m in way.stall_margin),
        "gain_ratio": way.gain_ratio,
    }
    return _gaps_told(with_reasons(known, {
        "gain_ratio": "fewer than two points within the limits"}), {
        "electrical_kw": "null: this way does not reach there",
        "stall_margin_percent": "null: no stall line, or this way does not reach there"})


def _gaps_told(found: dict[str, Any], why: dict[str, str]) -> dict[str, Any]:
    """`found` with a reason for each list that has nulls in it."""
    gaps = {k: words for k, words in why.items() if found[k] is not None and None in found[k]}
    known = {**found.get("reasons", {}), **gaps}
    return {**found, "reasons": known} if known else found


def _numbers(values: Iterable[float]) -> list[float | None]:
    """nan becomes null."""
    return [float(v) if v == v else None for v in values]


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
