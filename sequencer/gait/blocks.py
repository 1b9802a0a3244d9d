"""What the blocks of gait and machine files share."""

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from sequencer.gait.fields import AcceptField


class Block(BaseModel):
    """What all blocks of the files share: unknown keys are errors, nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, validate_by_name=False, validate_by_alias=True)


class Accepting(Block):
    """A block that may accept findings about itself."""

    accept: AcceptField = Field(
        default_factory=dict,
        description="Findings about this block that are accepted: their codes, each with the reason.",
    )


class Repeatable(Accepting):
    """A block that may be written once for several names. `for_each` is gone before validation."""

    for_each: dict[str, list[Any]] | None = Field(
        None,
        description="Write this once per value; <name> stands for the value. Equal lists go side by side.",
    )
    about: str = Field("", description="A remark for people.")
