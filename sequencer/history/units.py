"""Records of a sequencer that counts in int16, in the units of its file: steps times resolution."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sequencer.history.blocks import HistoryBlock
from sequencer.plan.tables import Compare, Follow, Leaf, Plan


def record_in_units(plan: Plan, record: HistoryBlock) -> HistoryBlock:
    """Turn whole steps into units, a binary32 product each; what is not in steps stays as it is."""
    fixed = plan.fixed
    assert fixed is not None
    detail = record.detail
    if detail is not None:
        detail = replace(
            detail,
            signal=in_units(detail.signal, fixed.signals),
            target=in_units(detail.target, fixed.setpoints),
            margin=in_units(detail.margin, leaf_resolutions(plan)),
        )
    return replace(record, setpoint=in_units(record.setpoint, fixed.setpoints), detail=detail)


def in_units(steps: NDArray[np.float32], resolutions: Sequence[float]) -> NDArray[np.float32]:
    """Multiply columns of whole steps by their resolutions."""
    return steps * np.array(resolutions, np.float32) + np.float32(0.0)  # no -0: there is none in int16


def leaf_resolutions(plan: Plan) -> list[float]:
    """Give the size of a step of each comparison's margin; of counters and questions it is 1."""
    assert plan.fixed is not None
    return [_resolution(plan, leaf) for leaf in plan.leaves]


def _resolution(plan: Plan, leaf: Leaf) -> float:
    assert plan.fixed is not None
    if isinstance(leaf, Compare) and leaf.source == "signal":
        return plan.fixed.signals[leaf.index]
    return plan.fixed.setpoints[leaf.setpoint] if isinstance(leaf, Follow) else 1.0
