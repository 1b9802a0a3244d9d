"""The bytes that a proof program reads and writes; `templates/proof` holds its other half.

In: for each run the number of its gait in the program (from 1 on), then records. The upper two bits of a
record's first byte say what it is: 0 the end of the run, 1 a tick, 2 a command (1: write a parameter, whose
number and float32 value follow; 0: start over), 3 send the totals. A tick's lower bits say whether the remote
was heard and what follows: now, if it is not one tick after the last (uint32); events, if there are any
(uint32); switches, if they changed (uint32); how the machine is helped, if it is (a byte, Inputs::helping);
samples: a byte for each signal (TickBlock.fresh), then a float32 for each fresh one. Where a gait counts in
whole steps, samples and written values are int16. All numbers come lowest byte first.

Out: the size of State, or of Machine where there are loops or outputs (uint32), then a frame for each tick,
and the totals where they were asked for.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.base.binary32 import f32
from sequencer.history.blocks import Detail, HistoryBlock
from sequencer.history.units import in_units, leaf_resolutions
from sequencer.plan.fixed_tables import FixedPoint
from sequencer.plan.tables import Plan
from sequencer.trace.blocks import HEARD, HELPED, HELPING, NOT_FRESH, RESET, TickBlock
from sequencer.trace.steps import block_in_steps

END_OF_RUN, TICK, COMMAND, TOTALS = 0x00, 0x40, 0x80, 0xC0
RESET_COMMAND, WRITE_COMMAND = COMMAND, COMMAND | 1
HAS_NOW, HAS_EVENTS, HAS_SWITCHES, HAS_SAMPLES, HAS_HELPING = 2, 4, 8, 16, 32
STATE_BYTES = 4  # of the size that starts a run's output


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that a frame holds: its name in HistoryBlock or Detail, its type, how many, where from.

    kind: 1, 2 or 4 (bytes of an unsigned number), ``_float``, or for whole steps ``_steps`` (int16) and
    ``_wide`` (int32). `expression` is C++ over `run` and `k`.
    """

    name: str
    kind: str
    count: int
    expression: str
    each: bool = True  # one for each k; else the one expression


@dataclass(frozen=True, slots=True)
class Form:
    """How a gait's output is laid out in one program.

    watched: causes, totals and leaves are sent, too. leaves: which of the plan's leaves are.
    """

    plan: Plan
    watched: bool
    leaves: range

    @property
    def fields(self) -> tuple[Field, ...]:
        """What a frame holds after the costs and the phases."""
        plan = self.plan
        number, margin = ("_float", "_float") if plan.fixed is None else ("_steps", "_wide")
        fields = [
            Field("setpoint", number, len(plan.setpoints), "run.setpoint[k]"),
            Field("target", number, len(plan.setpoints), "run.target[k]"),
            Field("counter", "2", len(plan.counters), "run.counter[k]"),
            Field("waits", "1", len(plan.sequences) if plan.helping else 0, "run.waits[k]"),
            Field("rule", "1", len(plan.rules), "static_cast<uint8_t>(run.rule[k])"),
            Field("signal", number, len(plan.signals), "run.value[k]"),
            Field("signal_state", "1", len(plan.signals), "run.seen[k]"),
            Field("drives", "1", 1, "run.drives ? 1U : 0U", each=False),
            Field("pulses", "4", 1 if plan.pulses else 0, "run.pulses", each=False),
            Field("loop", "_float", len(plan.loops), "run.correction[k]"),
            Field("output", "_float", len(plan.outputs), "run.given[k]"),
            Field("output_state", "1", len(plan.outputs), "static_cast<uint8_t>(run.state[k])"),
        ]
        if self.watched:
            fields += [
                Field("cause", "2", len(plan.sequences), "run.cause[k]"),
                Field("truth", "1", len(self.leaves), "run.truth[k]"),
                Field("margin", margin, len(self.leaves), "run.margin[k]"),
            ]
        return tuple(field for field in fields if field.count)

    @property
    def frame(self) -> np.dtype[Any]:
        """The layout of one frame: what the tick cost, the stack it took, phases, then the fields."""
        types = {"1": "u1", "2": "<u2", "4": "<u4", "_float": "<f4", "_steps": "<i2", "_wide": "<i4"}
        columns: list[Any] = [("cost", "<u4"), ("stack", "<u4"), ("phase", "u1", (len(self.plan.sequences),))]
        columns += [
            (f.name, types[f.kind], (f.count,)) if f.each else (f.name, types[f.kind]) for f in self.fields
        ]
        return np.dtype(columns)

    @property
    def totals(self) -> int:
        """How many uint32 the totals are: bad, disbelieved and outside for each signal, then refused."""
        return 3 * len(self.plan.signals) * self.watched + 1

    def size(self, ticks: int) -> int:
        """Tell how many bytes a run of so many ticks sends."""
        return STATE_BYTES + ticks * self.frame.itemsize + 4 * self.totals


def encode_run(number: int, blocks: Sequence[TickBlock], plan: Plan) -> bytes:
    """Spell a run of a plan: its number (from 1 on), all ticks of the blocks, the totals, the end."""
    parts = [bytes([number])]
    now, switches = None, 0
    numbers = "<f4" if plan.fixed is None else "<i2"
    for block in blocks if plan.fixed is None else (block_in_steps(plan, block) for block in blocks):
        if len(block):
            parts += _encode_block(block, plan, now, switches, numbers)
            now, switches = int(block.now[-1]), int(block.switches[-1])
    parts.append(bytes([TOTALS, END_OF_RUN]))
    return b"".join(parts)


def _encode_block(
    block: TickBlock, plan: Plan, now: int | None, switches: int, numbers: str
) -> Iterable[bytes]:
    """Spell every tick into a row as wide as the longest, then leave out the bytes that are not sent."""
    ticks, signals = block.raw.shape
    size = np.dtype(numbers).itemsize
    before = np.concatenate([[np.uint32(now or 0)], block.now[:-1]]).astype(np.uint32)
    new_now = block.now != before + np.uint32(plan.tick_ms)
    new_now[0] |= now is None
    new_switches = np.diff(block.switches, prepend=np.uint32(switches)) != 0
    samples = (block.fresh != NOT_FRESH).any(axis=1)
    helping = (block.control & HELPED) // HELPING * plan.helping
    what = np.full(ticks, TICK, np.uint8) | (block.control & HEARD)
    has = (
        (new_now, HAS_NOW),
        (block.events != 0, HAS_EVENTS),
        (new_switches, HAS_SWITCHES),
        (samples, HAS_SAMPLES),
        (helping != 0, HAS_HELPING),
    )
    for condition, bit in has:
        what |= np.where(condition, bit, 0).astype(np.uint8)
    columns = [
        (what[:, None], np.ones((ticks, 1), bool)),
        *_words(block.now, new_now),
        *_words(block.events, block.events != 0),
        *_words(block.switches, new_switches),
        (helping.astype(np.uint8)[:, None], (helping != 0)[:, None]),
        (block.fresh, np.repeat(samples[:, None], signals, axis=1)),
        (
            np.ascontiguousarray(block.raw, numbers).view(np.uint8).reshape(ticks, size * signals),
            np.repeat(block.fresh != NOT_FRESH, size, axis=1),
        ),
    ]
    octets = np.concatenate([values for values, _ in columns], axis=1)
    sent = np.concatenate([chosen for _, chosen in columns], axis=1)
    return _with_commands(block, octets[sent].tobytes(), np.cumsum(sent.sum(axis=1)), numbers)


def _words(values: NDArray[np.uint32], sent: NDArray[np.bool_]) -> list[tuple[NDArray[Any], NDArray[Any]]]:
    octets = np.ascontiguousarray(values, "<u4").view(np.uint8).reshape(len(values), 4)
    return [(octets, np.repeat(sent[:, None], 4, axis=1))]


def _with_commands(block: TickBlock, ticks: bytes, ends: NDArray[np.int64], numbers: str) -> Iterable[bytes]:
    """Put resets and parameter writes, in this order, before the ticks that they arrive with."""
    commands: dict[int, list[bytes]] = {}
    for row in np.flatnonzero(block.control & RESET).tolist():
        commands[row] = [bytes([RESET_COMMAND])]
    for write in sorted(block.writes, key=lambda w: w.row):
        value = np.array(f32(write.value), numbers).tobytes()
        commands.setdefault(write.row, []).append(bytes([WRITE_COMMAND, write.parameter]) + value)
    at = 0
    for row in sorted(commands):
        start = int(ends[row - 1]) if row else 0
        yield ticks[at:start]
        yield from commands[row]
        at = start
    yield ticks[at:]


@dataclass(frozen=True, slots=True)
class Reply:
    """A run's output, taken apart.

    frames: structured array (ticks,). totals: uint32. state: bytes of a State or Machine.
    """

    form: Form
    state: int
    frames: NDArray[Any]
    totals: NDArray[np.uint32]


def decode_run(form: Form, data: bytes | memoryview, ticks: int) -> Reply:
    """Take a run's output apart. Raises ValueError if it is not of the right length."""
    if len(data) != form.size(ticks):
        raise ValueError(f"{len(data)} bytes came back instead of {form.size(ticks)}")
    end = len(data) - 4 * form.totals
    return Reply(
        form,
        int(np.frombuffer(data, "<u4", 1)[0]),
        np.frombuffer(data[STATE_BYTES:end], form.frame),
        np.frombuffer(data[end:], "<u4"),
    )


def as_record(reply: Reply, reference: HistoryBlock) -> HistoryBlock:
    """Make a record of a reply; what the program does not send is taken from the reference record.

    reference: the same ticks, with detail.
    """
    form, frames, plan = reply.form, reply.frames, reply.form.plan
    sent = {name: np.ascontiguousarray(frames[name]) for name in ("phase", *(f.name for f in form.fields))}
    if plan.fixed is not None:
        _to_units(sent, form, plan.fixed)
    detail = reference.detail
    assert detail is not None
    of_detail: dict[str, Any] = {
        name: sent.pop(name) for name in ("signal", "signal_state", "target") if name in sent
    }
    for name in ("truth", "margin"):
        if name in sent:
            column = getattr(detail, name).copy()
            column[:, form.leaves.start : form.leaves.stop] = sent.pop(name)
            of_detail[name] = column
    changes: dict[str, Any] = {**sent, "refused": int(reply.totals[-1])}
    if form.watched:
        totals = reply.totals[:-1].reshape(3, len(plan.signals))
        changes |= dict(zip(("bad", "disbelieved", "outside"), totals, strict=True))
    more: Detail = replace(detail, **of_detail)
    return replace(reference, detail=more, **changes)


def _to_units(sent: dict[str, Any], form: Form, fixed: FixedPoint) -> None:
    """Turn whole steps into units."""
    sizes = {
        "setpoint": fixed.setpoints,
        "target": fixed.setpoints,
        "signal": fixed.signals,
        "margin": leaf_resolutions(form.plan)[form.leaves.start : form.leaves.stop],
    }
    for name, resolutions in sizes.items():
        if name in sent:
            steps = sent[name].astype(np.float32)
            none = sent[name] == np.iinfo(np.int32).min
            sent[name] = np.where(none, np.float32(np.nan), in_units(steps, resolutions))
