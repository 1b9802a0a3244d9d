"""What goes into a sequencer that counts in int16, and what comes out of it.

A reading becomes the binary32 quotient reading / resolution, rounded to the nearest whole number, ties away
from zero (C's lroundf), and stays at -32767 or 32767 if it is beyond. What is no finite number becomes
-32768. Raw readings of a signal with a scale are whole counts already: they are rounded in the same way.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sequencer.plan.fixed_tables import MOST_STEPS, NO_NUMBER
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, ParameterWrite, TickBlock


def whole_steps(readings: NDArray[np.float32], resolutions: NDArray[np.float32]) -> NDArray[np.float32]:
    """Turn readings into whole steps; the arrays are broadcast against each other."""
    with np.errstate(all="ignore"):
        quotients = (readings / resolutions).astype(np.float64)  # so that adding a half is exact
        steps = np.copysign(np.floor(np.abs(quotients) + 0.5), quotients)
        limited = np.clip(steps, -MOST_STEPS, MOST_STEPS) + 0.0
    finite = np.isfinite(readings)
    return np.where(finite, limited, NO_NUMBER).astype(np.float32)


def block_in_steps(plan: Plan, block: TickBlock) -> TickBlock:
    """Turn a block's samples and parameter writes into whole steps, still as float32.

    Raises nothing; a write for a parameter that there is not stays as it is.
    """
    fixed = plan.fixed
    assert fixed is not None
    resolutions = np.array(fixed.signals, np.float32).reshape(1, -1)
    scaled = np.array([signal.scaled for signal in plan.signals], bool).reshape(1, -1)
    in_counts = scaled & (block.fresh == FRESH_RAW)
    raw = whole_steps(block.raw, np.where(in_counts, np.float32(1.0), resolutions))
    return replace(
        block, raw=np.ascontiguousarray(raw), writes=tuple(_written(plan, w) for w in block.writes)
    )


def _written(plan: Plan, write: ParameterWrite) -> ParameterWrite:
    assert plan.fixed is not None
    if not 0 <= write.parameter < len(plan.fixed.parameters):
        return write
    resolution = np.array([plan.fixed.parameters[write.parameter]], np.float32)
    with np.errstate(over="ignore"):
        value = np.array([write.value]).astype(np.float32)
    return replace(write, value=float(whole_steps(value, resolution)[0]))
