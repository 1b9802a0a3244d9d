"""What a proof feeds to the executors besides recordings: a followed walk, and random inputs.

Random inputs stay near what matters to the gait: thresholds with their releases, targets, dead bands,
supplies, ends of spans, and the numbers of binary32 next to these; silence that makes a signal lost; pauses
as long as holds, timeouts and stalls; samples that are no numbers; resets; trimmed parameters; a clock that
wraps. The same seed gives the same inputs.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import TYPE_CHECKING

from sequencer.base.binary32 import f32
from sequencer.plan.tables import Plan
from sequencer.prove.near import WRAP, bits, near_values, pauses, sample, zero_of
from sequencer.trace.blocks import (
    HEARD,
    HELPING,
    RESET,
    STEP,
    STEPPING,
    ParameterWrite,
    TickBlock,
    empty_block,
)
from sequencer.trace.record import join_blocks

if TYPE_CHECKING:
    from sequencer.history.drive import Plant


@dataclass(frozen=True, slots=True)
class Trace:
    """Inputs with a name that people can find again."""

    name: str
    block: TickBlock


def recorded(path: str, plan: Plan, columns: Mapping[str, str] | None = None) -> Trace:
    """Read a recording (``-`` for standard input); switches it has no column for are on, unless they stop.

    columns: our name of a column -> its name in the file. Raises TraceError, MisuseError.
    """
    from sequencer.trace.layout import TraceOptions
    from sequencer.trace.operator import default_switches
    from sequencer.trace.read import open_trace

    usual = default_switches(plan)
    on = frozenset(switch.name for i, switch in enumerate(plan.switches) if usual >> i & 1)
    with open_trace(path, plan, TraceOptions(columns or {}, on)) as reader:
        return Trace(path, join_blocks(list(reader)))


def first_ticks(trace: Trace, ticks: int) -> Trace:
    """Give a trace's first ticks, or all of it if it is not longer."""
    block, rows = trace.block, slice(0, ticks)
    short = replace(
        block,
        now=block.now[rows],
        raw=block.raw[rows],
        fresh=block.fresh[rows],
        events=block.events[rows],
        switches=block.switches[rows],
        control=block.control[rows],
        writes=tuple(write for write in block.writes if write.row < ticks),
    )
    return Trace(trace.name, short)


def followed(plan: Plan, ticks: int, seed: int = 0) -> Trace:
    """Let the machine follow its setpoints (no physics) and keep what its sensors and operator said."""
    from sequencer.trace.follow import FollowOptions, FollowPlant

    return Trace("followed", _kept(plan, FollowPlant(plan, FollowOptions(seed=seed)), ticks))


def _kept(plan: Plan, plant: "Plant", ticks: int) -> TickBlock:
    """Run the gait in a closed loop with a plant, and give all that the plant answered."""
    from sequencer.executors.reference import ReferenceExecutor
    from sequencer.history.following import followed_inputs

    return join_blocks(list(followed_inputs(ReferenceExecutor(plan), plant, ticks)))


def random_traces(plan: Plan, count: int, ticks: int, seed: int = 0) -> Iterator[Trace]:
    """Make so many random traces: by turns from nothing, and from a walk that is disturbed."""
    from sequencer.prove.disturbed import DisturbedPlant
    from sequencer.trace.follow import FollowOptions, FollowPlant

    for number in range(count):
        rng = Random(f"{seed}/{number}")  # noqa: S311 - inputs that can be had again, not secrets
        if number % 2:
            plant = DisturbedPlant(rng, plan, FollowPlant(plan, FollowOptions(seed=number)), number // 2)
            block = _kept(plan, plant, ticks)
            writes = sorted((*block.writes, *_writes(rng, plan, ticks)), key=lambda write: write.row)
            block = replace(block, writes=tuple(writes))
            yield Trace(f"disturbed {number}", _helped(rng, block) if plan.helping else block)
        else:
            yield Trace(f"random {number}", random_block(rng, plan, ticks))


def random_block(rng: Random, plan: Plan, ticks: int) -> TickBlock:
    """Draw inputs of so many ticks: values that stay for a while, then another near what matters."""
    block = empty_block(ticks, len(plan.signals))
    near, times = near_values(plan), pauses(plan)
    now = rng.choice([0, 12345, WRAP - 150 * plan.tick_ms, WRAP - ticks * plan.tick_ms // 2])
    aims = [rng.choice(values) for values in near]
    freshness = [rng.choice((0.3, 0.7, 1.0)) for _ in near]
    late = rng.choice((0.0, 0.01, 0.1))
    quiet = 0
    switches = bits(rng, len(plan.switches), 0.8)
    for row in range(ticks):
        now += rng.choice(times) if rng.random() < late else plan.tick_ms
        block.now[row] = now % WRAP
        quiet = rng.randint(3, 40) if quiet == 0 and rng.random() < 0.01 else max(quiet - 1, 0)
        for column, values in enumerate(near):
            if rng.random() < 0.05:
                aims[column] = rng.choice(values)
            if not quiet and rng.random() < freshness[column]:
                signal = plan.signals[column]
                form, number = sample(rng, signal, aims[column], zero_of(plan, signal))
                block.fresh[row, column], block.raw[row, column] = form, number
        if rng.random() < 0.05:
            switches = bits(rng, len(plan.switches), 0.8)
        block.events[row], block.switches[row] = bits(rng, len(plan.events), 0.05), switches
        block.control[row] = HEARD * (not quiet and rng.random() < 0.7) | RESET * (rng.random() < 0.003)
    block = replace(block, writes=_writes(rng, plan, ticks))
    return _helped(rng, block) if plan.helping else block


def _helped(rng: Random, block: TickBlock) -> TickBlock:
    """Help by hand in some stretches and walk in single steps in others, with a step now and then.

    Every other block is left as it is, because timeouts only warn while somebody helps.
    """
    if rng.random() < 0.5:
        return block
    helped = steps = False
    chance = rng.choice((0.02, 0.1, 0.4))
    for row in range(len(block)):
        helped = rng.random() < 0.4 if rng.random() < 0.01 else helped
        steps = rng.random() < 0.3 if rng.random() < 0.01 else steps
        block.control[row] |= HELPING * helped | STEPPING * steps | STEP * (rng.random() < chance)
    return block


def _writes(rng: Random, plan: Plan, ticks: int) -> tuple[ParameterWrite, ...]:
    """Draw parameter writes in order, some of them to be refused."""
    if not plan.parameters:
        return ()
    writes = []
    for row in sorted(rng.randrange(ticks) for _ in range(max(2, ticks // 250))):
        index = rng.randrange(len(plan.parameters))
        of = plan.parameters[index]
        inside = f32(rng.uniform(of.low, of.high))
        odd: Sequence[float] = (
            of.low,
            of.high,
            of.high + 1,
            of.low - 1,
            -0.0,
            float("nan"),
            float("inf"),
            1e300,
        )
        writes.append(ParameterWrite(row, index, rng.choice((inside, inside, rng.choice(odd)))))
    return tuple(writes)
