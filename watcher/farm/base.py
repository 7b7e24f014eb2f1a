"""What everything the grower wrote is made of."""

from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from watcher.written_secrets import without_secrets


class FarmModel(BaseModel):
    """Something the grower wrote: unknown keys are errors, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, use_attribute_docstrings=True)


# Names become keys of the store, of settings and of web addresses.
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,59}$")]
# What is said of a field may be shown to anybody who looks: no address in it opens anything.
Words = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(without_secrets)]
Share = Annotated[float, Field(ge=0, le=1, strict=True)]
