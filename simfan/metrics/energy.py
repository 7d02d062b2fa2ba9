"""What a run took from the shaft and from the supply."""

import numpy as np

from simfan.history import History
from simfan.measures import compressibility
from simfan.measures import energy as fold
from simfan.metrics.columns import clock, column
from simfan.metrics.results import Energy

JOULE_PER_KWH = 3.6e6
AMBIENT = "ambient"
"""Name of the node that stands for the air around the plant."""
STANDARD_ATMOSPHERE = 101325.0
"""Inlet pressure [Pa] for the compressibility coefficient where no ambient one was recorded."""


def energy(history: History) -> Energy:
    """Sums over all fans; specific energy is electrical, per actual m³ at the fans' inlets.

    Efficiency is of static pressure. Its compressibility coefficient takes the mean pressure of
    the air around the plant for that in front of the wheel: what filter, duct and vanes take, or a
    volume before the fan, is left out. 5 kPa of it move the coefficient of a 4 kPa rise by 0.07 %.
    """
    time, facts = clock(history), history.facts
    shaft = electrical = volume = to_air = 0.0
    for fan in range(len(history.items["fan"])):
        names = ("shaft_power", "electrical_power", "fan_flow")
        arrays = [column(history, name, fan) for name in names]
        got = fold.result(fold.over(fold.start(), time[0], time, *arrays))
        shaft, electrical = shaft + float(got.shaft), electrical + float(got.electrical)
        volume += float(got.volume)
        to_air += _to_air(history, fan)
    kwh = electrical / JOULE_PER_KWH
    reasons = {}
    if facts.price_per_kwh == 0.0:
        reasons["cost"] = "no price of energy is given"
    if volume <= 0.0:
        reasons["kwh_per_1000_m3"] = f"no air was moved forward: {volume:.3g} m3 in all"
    if why := _no_efficiency(history, shaft):
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


def _to_air(history: History, fan: int) -> float:
    """∫Q·Δp·Kp dt [J] of one fan, while its flow goes forward."""
    time = clock(history)
    arrays = [column(history, name, fan) for name in ("fan_flow", "fan_pressure", "shaft_power")]
    params = compressibility.Params(_inlet_pressure(history), compressibility.GAMMA)
    start = compressibility.start(params)
    return float(compressibility.result(compressibility.over(start, time[0], time, *arrays)).to_air)


def _inlet_pressure(history: History) -> float:
    """Absolute [Pa]."""
    if AMBIENT not in history.items["node"]:
        return STANDARD_ATMOSPHERE
    return float(history.trace("node_pressure", AMBIENT).mean())


def _no_efficiency(history: History, shaft: float) -> str:
    """Why there is no fan efficiency; "" where there is one."""
    if not np.any(history.traces["fan_flow"] > 0.0):
        return "no forward flow in the run"
    return "" if shaft > 0.0 else f"the shaft took no energy: {shaft:.3g} J in all"
