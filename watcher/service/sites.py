"""Where and how high a source of the farm file measures."""

from watcher.farm import Farm
from watcher.farm.source_entry import SourceEntry
from watcher.weather.series import Site


def site_of(farm: Farm, entry: SourceEntry) -> Site:
    """The site of a source with the heights it told; the farm's middle where it told no place."""
    latitude, longitude = getattr(entry, "place", None) or farm.ground.middle
    heights = entry.heights
    upper = heights.temperature_upper
    return Site(
        latitude=latitude,
        longitude=longitude,
        wind_height_m=heights.wind,
        temp_height_m=heights.temperature,
        temp_upper_height_m=float("nan") if upper is None else upper,
    )
