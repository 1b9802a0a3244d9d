"""Comparing and drawing blocks of ticks."""

import numpy as np
from hypothesis import strategies as st

from sequencer.plan.tables import Plan
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, HEARD, ParameterWrite, TickBlock

FIELDS = ("now", "raw", "fresh", "events", "switches", "control", "skipped")


def bits(block: TickBlock) -> dict[str, object]:
    """Give everything in a block in a form in which -0 and 0 differ."""
    found: dict[str, object] = {
        "writes": [(w.row, w.parameter, np.float32(w.value).tobytes()) for w in block.writes]
    }
    for name in FIELDS:
        array = getattr(block, name)
        assert array.flags.c_contiguous, name
        found[name] = (str(array.dtype), array.shape, array.tobytes())
    return found


finite32 = st.floats(width=32, allow_nan=False, allow_infinity=False)


@st.composite
def blocks_in_a_row(draw: st.DrawFn, plan: Plan) -> list[TickBlock]:
    """Draw blocks that follow each other tick by tick, with anything in them that a recording can hold."""
    lengths = draw(st.lists(st.integers(1, 12), min_size=1, max_size=4))
    first = draw(st.integers(0, 2**32 // plan.tick_ms)) * plan.tick_ms
    blocks = []
    for length in lengths:
        blocks.append(_block(draw, plan, first, length))
        first += length * plan.tick_ms
    return blocks


def _block(draw: st.DrawFn, plan: Plan, first: int, length: int) -> TickBlock:
    signals = len(plan.signals)
    forms = st.sampled_from([0, FRESH_RAW, FRESH_VALUE])
    fresh = np.array([[draw(forms) for _ in range(signals)] for _ in range(length)], np.uint8)
    raw = np.array([[draw(finite32) if f else 0.0 for f in row] for row in fresh], np.float32)
    bit_sets = st.lists(st.integers(0, 3), min_size=length, max_size=length)
    writes = st.tuples(st.integers(0, length - 1), st.integers(0, len(plan.parameters) - 1), finite32)
    drawn = draw(st.lists(writes, max_size=6))
    heard = draw(st.lists(st.sampled_from([0, HEARD]), min_size=length, max_size=length))
    return TickBlock(
        now=((first + plan.tick_ms * np.arange(length)) % 2**32).astype(np.uint32),
        raw=raw.reshape(length, signals),
        fresh=fresh.reshape(length, signals),
        events=np.array(draw(bit_sets), np.uint32),
        switches=np.array(draw(bit_sets), np.uint32),
        control=np.array(heard if plan.remote else [HEARD] * length, np.uint8),
        writes=tuple(ParameterWrite(*w) for w in sorted(drawn, key=lambda w: w[0])),
        skipped=np.zeros(signals, np.int64),
    )
