"""Where a signal rests that nothing moves."""

from sequencer.plan.tables import Signal


def still_value(signal: Signal) -> float:
    """Give 0, or two thirds of a span that has no 0 (a battery on a supply of 9 to 12.6 V: 11.4 V)."""
    if signal.low <= 0 <= signal.high:
        return 0.0
    return signal.low + (signal.high - signal.low) * 2 / 3
