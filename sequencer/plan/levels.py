"""The value of a threshold or target at run time."""

from collections.abc import Sequence

from sequencer.base.binary32 import f32
from sequencer.plan.tables import Level


def level_value(level: Level, parameters: Sequence[float]) -> float:
    """Work out a level with the parameters as they stand: ``plus``, ``+-p``, or their binary32 sum."""
    if level.parameter is None:
        assert level.plus is not None
        return level.plus
    p = parameters[level.parameter]
    if level.negated:
        p = -p
    return p if level.plus is None else f32(p + level.plus)
