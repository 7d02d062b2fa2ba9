"""What a run took from the shaft and from the supply."""

from simfan.history import History
from simfan.measures import energy as fold
from simfan.metrics.columns import clock, column
from simfan.metrics.results import Energy

JOULE_PER_KWH = 3.6e6


def energy(history: History) -> Energy:
    """Sums over all fans; specific energy is electrical, per actual m³ at the fans' inlets."""
    time, facts = clock(history), history.facts
    shaft = electrical = volume = 0.0
    for fan in range(len(history.items["fan"])):
        names = ("shaft_power", "electrical_power", "fan_flow")
        arrays = [column(history, name, fan) for name in names]
        got = fold.result(fold.over(fold.start(), time[0], time, *arrays))
        shaft, electrical = shaft + float(got.shaft), electrical + float(got.electrical)
        volume += float(got.volume)
    kwh = electrical / JOULE_PER_KWH
    reasons = {}
    if facts.price_per_kwh == 0.0:
        reasons["cost"] = "no price of energy is given"
    if volume <= 0.0:
        reasons["kwh_per_1000_m3"] = f"no air was moved forward: {volume:.3g} m3 in all"
    return Energy(
        shaft_kwh=shaft / JOULE_PER_KWH,
        electrical_kwh=kwh,
        cost=None if "cost" in reasons else kwh * facts.price_per_kwh,
        currency=facts.currency,
        volume_m3=volume,
        kwh_per_1000_m3=None if "kwh_per_1000_m3" in reasons else kwh / volume * 1000.0,
        reasons=reasons,
    )
