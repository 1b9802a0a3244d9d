"""The `budget:` of a machine file: what its program may take of a controller."""

import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field, PlainValidator, WithJsonSchema

from sequencer.gait.blocks import Block
from sequencer.gait.fields import fail, to_quantity
from sequencer.gait.wiring_model import BoardText

_SIZE = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,6})?) *(B|kB|KB|KiB|%)?")
_BYTES = {"": 1, "B": 1, "kB": 1000, "KB": 1024, "KiB": 1024}


@dataclass(frozen=True, slots=True)
class LimitText:
    """A limit as written: bytes or milliseconds, or a share of all there is, 0 to 1."""

    amount: float
    share: bool


def to_size(value: Any) -> LimitText:
    """Accept ``200 kB`` (1000 bytes each), ``6 KiB`` (1024 each), bare bytes, or ``80 %``."""
    match = _SIZE.fullmatch(str(value)) if isinstance(value, int | float | str) else None
    if match is None or isinstance(value, bool):
        raise fail(
            "bad-unit", f"{str(value)[:40]!r} is no size", "bytes: 6000, 200 kB, 6 KiB; or a share: 80 %"
        )
    if match[2] == "%":
        return LimitText(float(match[1]) / 100, True)
    return LimitText(float(match[1]) * _BYTES[match[2] or ""], False)


def to_time_share(value: Any) -> LimitText:
    """Accept ``40 %`` of a tick, or a time such as ``4 ms``."""
    quantity = to_quantity(value)
    if quantity.unit == "%":
        return LimitText(quantity.value / 100, True)
    scale = {"us": 1e-3, "ms": 1.0, "s": 1e3}.get(quantity.unit)
    if scale is None:
        raise fail(
            "bad-unit", f"{quantity} is no part of a tick", "a share of the tick, 40 %, or a time, 4 ms"
        )
    return LimitText(quantity.value * scale, False)


_LIMIT = WithJsonSchema({"type": ["string", "number"]})
Size = Annotated[LimitText, PlainValidator(to_size), _LIMIT]
TimeShare = Annotated[LimitText, PlainValidator(to_time_share), _LIMIT]


class BudgetBlock(Block):
    """What the program may take of a controller; `generate` measures it and refuses more."""

    controller: BoardText | None = Field(
        None,
        description="atmega328p, atmega2560, cortex-m3, cortex-m4f, or a board; by default the wiring's.",
    )
    flash: Size | None = Field(None, description="Flash: 200 kB, 190 KiB, or a share, 80 %.")
    ram: Size | None = Field(None, description="Memory, the measured stack included: 6 kB, or a share, 75 %.")
    worst_tick: TimeShare | None = Field(None, description="The slowest tick: 40 % of a tick, or 4 ms.")
