"""What weather is called where it comes in: one table for readings, SenML names and mappings."""

from dataclasses import dataclass

from watcher.units import Kind, convert


@dataclass(frozen=True)
class Quantity:
    """A quantity's name at the edge, its array in ``WeatherSeries``, and what units fit it."""

    name: str
    series: str
    kind: Kind


BY_NAME = {
    quantity.name: quantity
    for quantity in (
        Quantity("wind", "wind_m_s", Kind.SPEED),
        Quantity("gust", "gust_m_s", Kind.SPEED),
        Quantity("wind_from", "wind_from_deg", Kind.ANGLE),
        Quantity("wind_spread", "wind_spread_deg", Kind.ANGLE),
        Quantity("temperature", "temp_c", Kind.TEMPERATURE),
        Quantity("temperature_upper", "temp_upper_c", Kind.TEMPERATURE),
        Quantity("humidity", "humidity_pct", Kind.PERCENT),
        Quantity("dew_point", "dew_point_c", Kind.TEMPERATURE),
        Quantity("pressure", "pressure_pa", Kind.PRESSURE),
        Quantity("rain", "rain_mm_h", Kind.RAIN_RATE),
        Quantity("rain_chance", "rain_chance_pct", Kind.PERCENT),
        Quantity("cloud", "cloud_pct", Kind.PERCENT),
        Quantity("solar", "solar_w_m2", Kind.IRRADIANCE),
        Quantity("net_radiation", "net_w_m2", Kind.IRRADIANCE),
    )
}


@dataclass(frozen=True)
class InUnit:
    """A quantity as a source gives it: in a unit of its own."""

    quantity: Quantity
    unit: str

    def si(self, number: float) -> float:
        """Return a number of this unit in the unit used inside."""
        return convert(number, self.unit, self.quantity.kind)


def in_unit(name: str, unit: str) -> InUnit:
    """Return a quantity by its name at the edge; ``ValueError`` for a unit that does not fit it."""
    if name not in BY_NAME:
        raise ValueError(f"quantities.{name} is not known; use {', '.join(BY_NAME)}")
    try:
        BY_NAME[name].kind.scale(unit)
    except ValueError as error:
        raise ValueError(f"quantities.{name}.unit: {error}") from error
    return InUnit(BY_NAME[name], unit)
