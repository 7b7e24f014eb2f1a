"""What the farm file says for the records of applications: products, and the rules on records."""

import re
from typing import Annotated, Literal

from pydantic import AfterValidator
from pydantic_core import PydanticCustomError

from watcher.farm.dose import DoseText
from watcher.farm.told import Told, Words

RecordRule = Literal["7 CFR 110", "40 CFR 171", "72 h label", "EU 2023/564"]
"""Rules on records that can be checked: the US Department of Agriculture's for restricted-use
products, the US EPA's for those who spray for others, label terms that ask for the record within 72
hours, and the European Union's on electronic records."""


def _eppo(code: str) -> str:
    # Five letters for a plant, six for a pest, and codes of groups with a digit (from memory).
    if not re.fullmatch(r"[0-9]?[A-Z]{4,6}", code) or not 5 <= len(code) <= 6:
        raise PydanticCustomError("eppo", "Input should be a code of the EPPO database")
    return code


EppoCode = Annotated[str, AfterValidator(_eppo)]


class Product(Told):
    """A product as its label names it."""

    name: Words
    """Name on the label."""
    registration: Words
    """Registration or authorisation number on the label."""
    rate: DoseText | None = None
    """How much of it goes on an area, in the label's units."""
    stage_bound: bool = False
    """Whether it may be used at certain growth stages only: then the record must tell the stage."""
