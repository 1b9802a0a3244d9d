"""The gains of a loop, folded with its period in binary64 and rounded once.

A gain may be a parameter, which is then multiplied at run time by what is folded here.
"""

import math
from dataclasses import dataclass
from typing import Any

from sequencer.base.binary32 import load_f32
from sequencer.base.places import Place
from sequencer.base.quantities import Quantity
from sequencer.gait.machine_model import LoopBlock
from sequencer.plan.context import Context

TRACKING_S = 1.0
Path = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Gain:
    """A gain as the file gives it; where a parameter gives it, `times` is that, and low to high its span."""

    value: float
    low: float
    high: float
    times: int | None = None

    @property
    def is_nothing(self) -> bool:
        """Whether it is 0 for good."""
        return self.low == self.high == 0.0


class GainTables:
    """Works out the numbers of one loop that belong to its gains."""

    def __init__(self, context: Context, path: Path, block: LoopBlock) -> None:
        self.context = context
        self.path = path
        self.block = block
        self.kp, self.ki, self.kd = (self._gain(key) for key in ("kp", "ki", "kd"))

    def _at(self, *more: str) -> Place:
        return self.context.machine.where.value((*self.path, *more))

    def _cut(self, *keys: str) -> bool:
        return any(self.context.was_cut(self.context.machine, *self.path, key) for key in keys)

    def _gain(self, key: str) -> Gain:
        given: float | str = getattr(self.block, key)
        if not isinstance(given, str):
            return Gain(given, given, given)
        index = self.context.named(given, "", self._at(key))
        if index is None:
            return Gain(1.0, math.nan, math.nan)  # of which nothing is said: an error has been told
        parameter = self.context.parameters[index]
        return Gain(parameter.value, parameter.low, parameter.high, index)

    def fold(self, h: float) -> dict[str, Any]:
        """Give the loop's columns kp, bi, br, ad, bd and those that name parameters; h: its period in s."""
        self._check()
        kp, ki, kd = self.kp, self.ki, self.kd
        tf = self._time("filter", self.block.filter, 0.0)
        usual = max(abs(kp.value / ki.value), h) if kp.value and ki.value else TRACKING_S
        tt = self._time("tracking", self.block.tracking, h)
        folded = {
            "kp": (kp.value if kp.times is None else 1.0, "kp"),
            "bi": ((ki.value if ki.times is None else 1.0) * h, "ki"),
            "br": (h / (usual if tt is None else tt), "tracking"),
            "ad": ((tf or 0.0) / ((tf or 0.0) + h), "filter"),
            "bd": ((kd.value if kd.times is None else 1.0) / ((tf or 0.0) + h), "kd"),
        }
        for value, key in folded.values():
            self.context.fits(value, self._at(key))
        for gain, name in ((ki, "bi"), (kd, "bd")):
            if gain.times is not None:  # the product must fit wherever it is trimmed
                factor, key = folded[name]
                self.context.fits(max(gain.high, -gain.low) * factor, self._at(key))
        columns: dict[str, Any] = {name: load_f32(value) for name, (value, _) in folded.items()}
        return columns | {"kp_times": kp.times, "bi_times": ki.times, "bd_times": kd.times}

    def _check(self) -> None:
        """Note an error if the loop gives nothing, or if kp and ki can differ in sign."""
        kp, ki, kd = self.kp, self.ki, self.kd
        if kp.is_nothing and ki.is_nothing and kd.is_nothing and not self._cut("kp", "ki", "kd"):
            message = f"loop {self.path[1]} gives nothing whatever its signal says"
            place = self.context.machine.where.key(self.path)
            self.context.error("missing-key", place, message, expected="kp, ki or kd")
        if any(a * b < 0 for a in (kp.low, kp.high) for b in (ki.low, ki.high)):
            named = kp.times is not None or ki.times is not None
            signs = "their signs can differ" if named else "their signs differ"
            message = f"kp and ki pull against each other: {signs}"
            expected = "spans of the same sign for both" if named else "the same sign for both"
            self.context.error("bad-drive", self._at("ki"), message, expected=expected)

    def _time(self, key: str, quantity: Quantity | None, least: float) -> float | None:
        """Give a time in seconds, None if it is left out or wrong."""
        if quantity is None:
            return None
        value = self.context.number(quantity, "s", self._at(key))
        if value is not None and value < least:
            expected = f"{least:g} s or more" + (", the loop's own period" if least else "")
            self.context.error("out-of-span", self._at(key), f"{key} is {quantity}", expected=expected)
            return None
        return value
