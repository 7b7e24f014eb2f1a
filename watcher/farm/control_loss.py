"""Estimates of the control that coarse drops lose, by what is sprayed: the grower's own."""

from enum import StrEnum

from watcher.farm.base import FarmModel
from watcher.units import Percent


class LossOf(StrEnum):
    """What loses control, as the farm file names it: products by their mode, and those without."""

    GRASSES = "herbicide on grasses"
    BROADLEAVES = "herbicide on broadleaves"
    TRANSLOCATED_GRASSES = "translocated herbicide on grasses"
    TRANSLOCATED_BROADLEAVES = "translocated herbicide on broadleaves"
    CONTACT_HERBICIDE = "contact herbicide"
    RESIDUAL_HERBICIDE = "residual herbicide"
    CONTACT_INSECTICIDE = "contact insecticide"
    SYSTEMIC_INSECTICIDE = "systemic insecticide"
    PROTECTANT_FUNGICIDE = "protectant fungicide"
    SYSTEMIC_FUNGICIDE = "systemic fungicide"


class LossEstimate(FarmModel):
    """Control lost with coarse drops against a well covering spray, low and high. [%]"""

    much_water: tuple[Percent, Percent]
    """With 15 gal/acre (140 L/ha) and more. [%]"""
    little_water: tuple[Percent, Percent]
    """With 7 gal/acre (65 L/ha) and less. [%]"""
