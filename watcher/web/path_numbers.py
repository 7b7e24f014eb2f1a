"""Numbers in addresses: one that no table can hold is refused like any other that is not there."""

from typing import Annotated

from fastapi import Path

BIGGEST = 2**31 - 1
Number = Annotated[int, Path(ge=1, le=BIGGEST, description="The number of a job or a device")]
