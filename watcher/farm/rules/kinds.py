"""The one list of the kinds of rules."""

from typing import Annotated

from pydantic import Field

from watcher.farm.rules.calendar import CalendarRule
from watcher.farm.rules.equipment import EquipmentRule
from watcher.farm.rules.weather import WeatherRule

Rule = Annotated[WeatherRule | CalendarRule | EquipmentRule, Field(discriminator="kind")]
"""A rule of any kind, distinguished by ``kind``."""
