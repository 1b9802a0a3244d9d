"""The table of a budget; a part of the plan that takes no part in its meaning."""

from dataclasses import dataclass

from sequencer.base.places import Place


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit: bytes or milliseconds, or with `share` a part of all there is, above 0 to 1."""

    amount: float
    share: bool
    place: Place

    def of(self, whole: float) -> float:
        """Give the limit as an amount, of so much in all."""
        return self.amount * whole if self.share else self.amount


@dataclass(frozen=True, slots=True)
class Budget:
    """What a program may take: flash and memory in bytes, the slowest tick in milliseconds.

    controller: an emulated controller (`sequencer.plan.budget.CONTROLLERS`) or a board.
    """

    controller: str
    flash: Limit | None
    ram: Limit | None
    worst_tick: Limit | None
    place: Place
