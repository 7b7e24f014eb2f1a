"""Where and how high a source of the farm file measures."""

from dataclasses import replace

from sqlalchemy.orm import Session

from watcher.farm import Farm
from watcher.farm.source_entry import SourceEntry
from watcher.store import weather
from watcher.weather.series import Site


def site_of(farm: Farm, entry: SourceEntry) -> Site:
    """The site of a source with the heights given; the farm's middle where no place is."""
    latitude, longitude = getattr(entry, "place", None) or farm.ground.middle
    heights = entry.heights
    upper = heights.temperature_upper
    return Site(
        latitude=latitude,
        longitude=longitude,
        wind_height_m=heights.wind,
        canopy_m=heights.canopy,
        temp_height_m=heights.temperature,
        temp_upper_height_m=float("nan") if upper is None else upper,
    )


def site_of_log(session: Session, farm: Farm, name: str) -> Site:
    """The site of a source as it last said itself, else as the farm file says.

    What grows under its sensor the farm file says alone.
    """
    entry = farm.config.sources[name]
    site = weather.site(session, name) or site_of(farm, entry)
    return replace(site, canopy_m=entry.heights.canopy)
