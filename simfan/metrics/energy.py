"""What a run took from the shaft and from the supply."""

import numpy as np

from simfan.measures import compressibility
from simfan.measures import energy as fold
from simfan.metrics.columns import Folded, Run, blocks, clock, column
from simfan.metrics.results import Energy

JOULE_PER_KWH = 3.6e6
AMBIENT = "ambient"
"""Name of the node that stands for the air around the plant."""
STANDARD_ATMOSPHERE = 101325.0
"""Inlet pressure [Pa] for the compressibility coefficient where no ambient one was recorded."""
COLUMNS = ("shaft_power", "electrical_power", "fan_flow", "fan_pressure")


def energy(run: Run) -> Energy:
    """Sums over all fans; specific energy is electrical, per actual m³ at the fans' inlets.

    Efficiency is of static pressure. Its compressibility coefficient takes the mean pressure of
    the air around the plant for that in front of the wheel: what filter, duct and vanes take, or a
    volume before the fan, is left out. 5 kPa of it move the coefficient of a 4 kPa rise by 0.07 %.
    """
    facts = run.facts
    shaft, electrical, volume, to_air, forward = _sums(run)
    kwh = electrical / JOULE_PER_KWH
    reasons = {}
    if facts.price_per_kwh == 0.0:
        reasons["cost"] = "no price of energy is given"
    if volume <= 0.0:
        reasons["kwh_per_1000_m3"] = f"no air was moved forward: {volume:.3g} m3 in all"
    if why := _no_efficiency(forward, shaft):
        reasons["fan_efficiency_percent"] = why
    return Energy(
        shaft_kwh=shaft / JOULE_PER_KWH,
        electrical_kwh=kwh,
        cost=None if "cost" in reasons else kwh * facts.price_per_kwh,
        currency=facts.currency,
        volume_m3=volume,
        kwh_per_1000_m3=None if "kwh_per_1000_m3" in reasons else kwh / volume * 1000.0,
        fan_efficiency_percent=(
            None if "fan_efficiency_percent" in reasons else 100.0 * to_air / shaft
        ),
        reasons=reasons,
    )


def _sums(run: Run) -> tuple[float, float, float, float, bool]:
    """Of all fans: shaft and supply [J], volume [m³], ∫Q·Δp·Kp dt [J], and whether flow ever went
    forward."""
    params = compressibility.Params(_inlet_pressure(run), compressibility.GAMMA)
    folds = [(Folded(fold, fold.start()),
              Folded(compressibility, compressibility.start(params))) for _ in run.items["fan"]]
    forward = False
    for block in blocks(run):
        time = clock(block)
        forward = forward or bool(np.any(block.traces["fan_flow"] > 0.0))
        for fan, (sums, air) in enumerate(folds):
            power, supply, flow, rise = (column(block, name, fan) for name in COLUMNS)
            sums.take(time, power, supply, flow)
            air.take(time, flow, rise, power)
    shaft = electrical = volume = to_air = 0.0
    for sums, air in folds:
        got = sums.result()
        shaft, electrical = shaft + float(got.shaft), electrical + float(got.electrical)
        volume, to_air = volume + float(got.volume), to_air + float(air.result().to_air)
    return shaft, electrical, volume, to_air, forward


def _inlet_pressure(run: Run) -> float:
    """Absolute [Pa]."""
    if AMBIENT not in run.items["node"]:
        return STANDARD_ATMOSPHERE
    return float(run.trace("node_pressure", AMBIENT).mean())


def _no_efficiency(forward: bool, shaft: float) -> str:
    """Why there is no fan efficiency; "" where there is one."""
    if not forward:
        return "no forward flow in the run"
    return "" if shaft > 0.0 else f"the shaft took no energy: {shaft:.3g} J in all"
