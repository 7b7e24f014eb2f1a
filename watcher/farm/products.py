"""What the farm file says for the records of applications: products, and the rules on records."""

import re
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import AfterValidator
from pydantic_core import PydanticCustomError

from watcher.farm.adjuvant import Retardant
from watcher.farm.base import FarmModel, Words
from watcher.farm.dose import DoseText
from watcher.farm.rules.base import Day
from watcher.farm.rules.buffers import Buffer
from watcher.farm.rules.kinds import Rule
from watcher.units import Percent

RecordRule = Literal[
    "former 7 CFR 110",
    "40 CFR 171",
    "US Minnesota",
    "US Idaho",
    "72 h label",
    "EU 2023/564",
]
"""Rules on records that can be checked: the items of the US federal rule that was removed on 11
July 2025, as a checklist; the US EPA's for those who spray for others; two states'; label terms
that ask for the record within 72 hours; and the European Union's on electronic records."""


def _eppo(code: str) -> str:
    # Five letters for a plant, six for a pest, and codes of groups with a digit (from memory).
    if not re.fullmatch(r"[0-9]?[A-Z]{4,6}", code) or not 5 <= len(code) <= 6:
        raise PydanticCustomError("eppo", "Input should be a code of the EPPO database")
    return code


EppoCode = Annotated[str, AfterValidator(_eppo)]


class ModeOfAction(StrEnum):
    """What a product is and how it reaches what it is to act on."""

    CONTACT_HERBICIDE = "contact herbicide"
    TRANSLOCATED_HERBICIDE = "translocated herbicide"
    RESIDUAL_HERBICIDE = "residual herbicide"
    CONTACT_INSECTICIDE = "contact insecticide"
    SYSTEMIC_INSECTICIDE = "systemic insecticide"
    PROTECTANT_FUNGICIDE = "protectant fungicide"
    SYSTEMIC_FUNGICIDE = "systemic fungicide"
    OTHER = "other"


class Product(FarmModel):
    """A product as its label names it."""

    name: Words
    """Name on the label."""
    registration: Words
    """Registration or authorisation number on the label."""
    rate: DoseText | None = None
    """How much of it goes on an area, in the label's units."""
    active: Words | None = None
    """Its active ingredients, as its label names them, for the records."""
    re_entry: Words | None = None
    """Its re-entry interval as its label states it, for the records: "12 h"."""
    pre_harvest: Words | None = None
    """Its pre-harvest interval as its label states it, for the records: "30 days"."""
    stage_bound: bool = False
    """Whether it may be used at certain growth stages only: then the record must tell the stage."""
    mode: ModeOfAction | None = None
    """What it is and how it reaches what it is to act on."""
    dose_share: Percent | None = None
    """The dose used as a share of the largest one for any crop. [%]"""
    retardant: Retardant | None = None
    """For a drift retardant: it may be added where drift stops a job."""
    valid_from: Day | None = None
    """First day of the label's validity."""
    valid_until: Day | None = None
    """Last day of the label's validity: after it nothing may be sprayed."""
    rules: tuple[Rule, ...] = ()
    """What its label says of the hour, the place and the equipment."""
    buffers: tuple[Buffer, ...] = ()
    """What its label keeps unsprayed towards neighbours."""
