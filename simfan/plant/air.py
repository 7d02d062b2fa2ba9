"""The gas and the weather."""

from typing import Annotated

from simfan.plant.quantities import (
    AbsolutePressure,
    Description,
    GasConstant,
    Limits,
    Plain,
    Temperature,
)


class Air(Description):
    """The gas the fan moves, taken as ideal: ρ = p/(RT), c² = γRT."""

    temperature: Temperature = 293.15
    """Of the surroundings, and of the gas at the fan. Default: 20 °C, the air of most fan
    catalogues; common practice, no source."""
    barometer: AbsolutePressure = 101325.0
    """Default: the standard atmosphere at sea level (ISO 2533); from memory."""
    gas_constant: GasConstant = 287.05
    """R. Default: dry air (ISO 2533: 287.053); from memory."""
    heat_capacity_ratio: Annotated[float, Plain(Limits(above=1.0, most=1.67))] = 1.4
    """γ; it sets the speed of sound. Default: dry air near room temperature; from memory."""

    @property
    def density(self) -> float:
        """ρ [kg/m³] at the fan's surroundings."""
        return self.barometer / (self.gas_constant * self.temperature)
