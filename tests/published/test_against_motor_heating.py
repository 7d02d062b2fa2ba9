"""Heat of a motor's start.

Without load a start heats the rotor by ½Jω² of the synchronous speed: the slip energy equals the
kinetic energy given (textbooks of electrical machines; derived, calculated).
"""


from simfan.plant.case import Case
from simfan.steady.start import UP, direct_start
from tests.plants import fan, plain
from tests.published.record import checked


def unloaded() -> Case:
    """A fan whose power is next to nothing."""
    light = fan("B")
    light["static_pressure"] = [1e-3 * p for p in light["static_pressure"]]
    light["shaft_power"] = [1e-3 * p for p in light["shaft_power"]]
    return plain(fan=light, process={"design": {"flow": 45.0, "pressure": 3.0}})


def test_an_unloaded_start_heats_the_rotor_by_its_kinetic_energy() -> None:
    case = unloaded()
    start = direct_start(case, "before")
    assert start.time is not None
    kinetic = 0.5 * case.fan.inertia * case.motor.synchronous_speed**2
    # up to 98 % of the speed: ∫(ω_s − ω)J dω = ½Jω_s²(1 − (1 − .98)²)
    assert start.rotor_heat == checked(kinetic * (1.0 - (1.0 - UP) ** 2), "heat [J]", rel=5e-3)


def test_load_makes_the_start_longer_and_hotter() -> None:
    light, loaded = direct_start(unloaded(), "before"), direct_start(plain(), "before")
    assert light.time is not None and loaded.time is not None
    assert loaded.time > light.time
    assert loaded.rotor_heat > light.rotor_heat
