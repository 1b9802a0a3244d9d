"""Making recordings from scripts.

The same script and seed give the same bytes: each signal has two numpy PCG64 streams, seeded with (seed,
index, 0) for noise and (seed, index, 1) for dropouts. numpy keeps PCG64's bits for ever, but may change how
it makes normal numbers from them (NEP 19).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import MisuseError
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import TickBlock
from sequencer.trace.layout import Column, Layout, Role, TraceOptions
from sequencer.trace.script import Script, SignalScript, Window, load_script
from sequencer.trace.ticks import MOST_TICKS, Cells, TickAssembler

Samples = tuple[NDArray[np.int64], NDArray[np.float64]]
"""When (microseconds) and what, both (n,)."""


def make_trace(script: str | Path | Script, plan: Plan, *, seed: int | None = None) -> Iterator[TickBlock]:
    """Give the blocks of ticks that a script describes, from now = 0 to its end.

    A script's path is read at once: TraceError with the place if it is wrong. `seed` takes the place of the
    script's; MisuseError if it is negative. Numbers are worked out in binary64 and rounded once to binary32.
    """
    if not isinstance(script, Script):
        script = load_script(script, plan)
    if seed is not None and seed < 0:
        raise MisuseError(f"seed is {seed}, which is not 0 or more")
    return _blocks(script, plan, script.seed if seed is None else seed)


def _blocks(script: Script, plan: Plan, seed: int) -> Iterator[TickBlock]:
    tick_us = plan.tick_ms * 1000
    sources = _sources(script, plan, seed)
    layout = Layout(
        time=Column(0, "time", "time"),
        columns=tuple(s.column for s in sources),
        width=len(sources) + 1,
        unused=(),
        missing=(),
    )
    assembler = TickAssembler(plan, layout, TraceOptions())
    stride_us = MOST_TICKS * tick_us
    for start_us in range(0, script.lasts_us + 1, stride_us):
        stop_us = min(start_us + stride_us, script.lasts_us + 1)
        samples = [s.between(start_us, stop_us) for s in sources]
        ticks = np.arange(start_us, stop_us, tick_us)
        times = np.unique(np.concatenate([ticks, *(at for at, _ in samples)]))
        yield from assembler.feed(times, [_cells(s, times) for s in samples])
    yield from assembler.finish()


def _cells(samples: Samples, times: NDArray[np.int64]) -> Cells:
    """Spread samples over the rows of all times."""
    at, values = samples
    rows = np.searchsorted(times, at)
    wide, filled = np.zeros(len(times)), np.zeros(len(times), np.bool_)
    wide[rows] = values
    filled[rows] = True
    return wide, filled


@dataclass(frozen=True, slots=True)
class _Moments:
    """Cells at given times; of two at the same time the later in the list counts."""

    column: Column
    moments: Sequence[tuple[int, float]]

    def between(self, start_us: int, stop_us: int) -> Samples:
        """Give the cells from start_us on and before stop_us."""
        inside = dict(m for m in self.moments if start_us <= m[0] < stop_us)
        return np.array(list(inside), np.int64), np.array(list(inside.values()), np.float64)


@dataclass(frozen=True, slots=True)
class _Heard:
    """When the remote is heard: at its period, and with each event that it sends, unless it is silent."""

    column: Column
    every_us: int
    presses: Sequence[int]
    silent: Sequence[Window]

    def between(self, start_us: int, stop_us: int) -> Samples:
        """Give the cells from start_us on and before stop_us."""
        presses = [p for p in self.presses if start_us <= p < stop_us]
        times = np.concatenate([_grid(start_us, stop_us, self.every_us), np.array(presses, np.int64)])
        for window in self.silent:
            times = times[~_in(times, window)]
        return np.unique(times), np.ones(len(np.unique(times)))


class _Signal:
    """One signal's samples. Streams are drawn in order, so `between` goes forward only."""

    def __init__(self, column: Column, script: SignalScript, every_us: int, seed: int) -> None:
        self.column = column
        self._script = script
        self._every_us = every_us
        self._starts = np.array([p.start_us for p in script.pieces], np.int64)
        self._form = np.array([(p.value, p.slope, p.amplitude, p.turn) for p in script.pieces])
        streams = [np.random.SeedSequence((seed, script.signal, use)) for use in (0, 1)]
        self._noise, self._chance = (np.random.Generator(np.random.PCG64(s)) for s in streams)

    def between(self, start_us: int, stop_us: int) -> Samples:
        """Give the samples from start_us on and before stop_us."""
        script = self._script
        times = _grid(start_us, stop_us, self._every_us)
        piece = np.searchsorted(self._starts, times, side="right") - 1
        value, slope, amplitude, turn = self._form[piece].T
        since = (times - self._starts[piece]).astype(np.float64)
        values = value + slope * since + amplitude * np.sin(turn * since)
        if script.noise > 0:
            values = values + script.noise * self._noise.standard_normal(len(times))
        for glitch in script.glitches:
            at = self._touched(times, glitch.window)
            values[at] = values[at] + glitch.value if glitch.added else glitch.value
        if script.step > 0:
            values = np.rint(values / script.step) * script.step
        there = np.ones(len(times), np.bool_)
        for window in script.dropouts:
            there &= ~_in(times, window)
        if script.chance > 0:
            there &= self._chance.random(len(times)) >= script.chance
        return times[there], values[there]

    def _touched(self, times: NDArray[np.int64], window: Window) -> NDArray[np.bool_]:
        if window.stop_us is not None:
            return _in(times, window)
        first = -(-window.start_us // self._every_us) * self._every_us
        return np.asarray(times == first)


def _grid(start_us: int, stop_us: int, every_us: int) -> NDArray[np.int64]:
    """Give the multiples of every_us from start_us on and before stop_us."""
    return np.arange(-(-start_us // every_us) * every_us, stop_us, every_us, dtype=np.int64)


def _in(times: NDArray[np.int64], window: Window) -> NDArray[np.bool_]:
    inside = times >= window.start_us
    return inside if window.stop_us is None else inside & (times < window.stop_us)


_Source = _Moments | _Heard | _Signal


def _sources(script: Script, plan: Plan, seed: int) -> list[_Source]:
    tick_us = plan.tick_ms * 1000
    sources: list[_Source] = []

    def column(role: Role, index: int, form: int = 0) -> Column:
        return Column(len(sources) + 1, role, role, index, form)

    for signal in script.signals:
        every_us = plan.signals[signal.signal].every_us or tick_us
        its = column("signal", signal.signal, signal.form)
        sources.append(_Signal(its, signal, every_us, seed))
    roles: tuple[tuple[Role, tuple[tuple[int, int, float], ...]], ...] = (
        ("event", script.events),
        ("switch", script.switches),
        ("parameter", script.parameters),
        ("helping", script.helping),
    )
    for role, moments in roles:
        for index in sorted({i for _, i, _ in moments}):
            cells = [(at, value) for at, i, value in moments if i == index]
            sources.append(_Moments(column(role, index), cells))
    if plan.remote is not None:
        every_us = plan.remote.every_us or tick_us
        presses = [at for at, i, _ in script.events if i in plan.remote.events]
        sources.append(_Heard(column("remote", 0), every_us, presses, script.silent))
    return sources
