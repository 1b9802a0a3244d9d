"""Which signals a question compares."""

from collections.abc import Sequence

from sequencer.plan.tables import Compare, Follow, Leaf, Setpoint


def signals_compared(leaf: Leaf, setpoints: Sequence[Setpoint]) -> tuple[int, ...]:
    """List the signals that a leaf compares, by index: its own, or the followers of its setpoint.

    Events, switches, counters, phases and `lost` compare none.
    """
    if isinstance(leaf, Compare):
        return (leaf.index,) if leaf.source == "signal" else ()
    if isinstance(leaf, Follow):
        return tuple(follower.signal for follower in setpoints[leaf.setpoint].followers)
    return ()
