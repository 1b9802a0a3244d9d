"""Samples in a row, and rates in words."""

from sequencer.check.holds import period_ms
from sequencer.plan.tables import Guard, Plan


def samples_in_row(plan: Plan, guard: Guard, signal: int) -> int:
    """Return how many samples of a signal must agree before a guard fires."""
    if guard.hold is None:
        return 1
    if guard.hold.samples is not None:
        return guard.hold.samples
    assert guard.hold.ms is not None
    return 1 + int(guard.hold.ms // period_ms(plan, signal))


def often(per_hour: float) -> str:
    """Spell a rate: ``3 times an hour``."""
    if per_hour >= 3600:
        return f"{per_hour / 3600:.2g} times a second"
    if per_hour >= 1:
        return f"{per_hour:.2g} times an hour"
    return f"once in {1 / per_hour:.2g} hours"
