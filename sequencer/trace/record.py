"""Collecting blocks of ticks, one tick at a time, into a recording."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from sequencer.trace.blocks import ParameterWrite, TickBlock

_JOIN_AT = 4096


def join_blocks(blocks: Sequence[TickBlock]) -> TickBlock:
    """Make one block out of several that follow each other (at least one)."""
    writes: list[ParameterWrite] = []
    skipped = [b.skipped for b in blocks if len(b.skipped)]
    row = 0
    for block in blocks:
        writes += [replace(w, row=w.row + row) for w in block.writes]
        row += len(block)
    return TickBlock(
        now=np.concatenate([b.now for b in blocks]),
        raw=np.concatenate([b.raw for b in blocks]),
        fresh=np.concatenate([b.fresh for b in blocks]),
        events=np.concatenate([b.events for b in blocks]),
        switches=np.concatenate([b.switches for b in blocks]),
        control=np.concatenate([b.control for b in blocks]),
        writes=tuple(writes),
        skipped=np.sum(skipped, axis=0) if skipped else np.zeros(0, np.int64),
    )


class TraceRecorder:
    """Keeps the blocks that it is given; iterate over it to get them back in larger ones."""

    def __init__(self) -> None:
        self._joined: list[TickBlock] = []
        self._loose: list[TickBlock] = []
        self._ticks = 0

    def add(self, block: TickBlock) -> None:
        """Keep a block; its arrays must not be changed afterwards."""
        self._loose.append(block)
        self._ticks += len(block)
        if len(self._loose) >= _JOIN_AT:
            self._join()

    def _join(self) -> None:
        if self._loose:
            self._joined.append(join_blocks(self._loose))
            self._loose = []

    def __len__(self) -> int:
        """Count the ticks."""
        return self._ticks

    def __iter__(self) -> Iterator[TickBlock]:
        self._join()
        return iter(self._joined)
