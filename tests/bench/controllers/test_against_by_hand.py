"""The generated sequencer on small controllers, over switches written by hand for the same walks.

The code by hand stands beside this file. It must first decide the same as the reference, to the bit, on the
inputs of a proof. Then sizes are compared (of the object, of what is linked, of a State) and what a tick
costs, on the same inputs.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from random import Random

import numpy as np
import pytest
from numpy.typing import NDArray

from sequencer.build.emulators import COUNTS_PER_INSTRUCTION
from sequencer.build.programs import run_program
from sequencer.build.sizes import Sizes, sizes_of
from sequencer.executors.reference import ReferenceExecutor
from sequencer.generate.render import view_of
from sequencer.history.blocks import BY_ANYWHERE, BY_GUARD, BY_RESET, BY_TIMEOUT, HistoryBlock
from sequencer.history.compare import first_difference
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from sequencer.prove.controllers import Controller, build, controller
from sequencer.prove.images import Image, replay
from sequencer.prove.inputs import followed, random_traces
from sequencer.prove.near import near_values, sample
from sequencer.prove.program import program_files, write_files
from sequencer.prove.wire import Form, Reply, as_record
from sequencer.trace.blocks import FRESH_RAW, NOT_FRESH, RESET, TickBlock, empty_block
from sequencer.trace.follow import FollowOptions, FollowPlant
from sequencer.trace.record import join_blocks

HERE = Path(__file__).parent
WALKS = ("stork", "eight_phases")
CONTROLLERS = ("atmega328p", "cortex-m3")
TICKS = 4000


@lru_cache
def plan(walk: str) -> Plan:
    return load_plan(HERE / f"{walk}.gait.yaml")


@lru_cache
def walked(walk: str) -> TickBlock:
    """An undisturbed walk of the stork; for the other, which sets nothing, a walk played to it."""
    return followed(plan(walk), TICKS).block if walk == "stork" else played(plan(walk), TICKS)


def played(walk: Plan, ticks: int) -> TickBlock:
    """What the five sensors of the eight phases say in steps of 1.6 s each way, every phase in its turn."""
    block = empty_block(ticks, len(walk.signals))
    time = np.arange(ticks) * walk.tick_ms / 1000
    block.now[:] = np.arange(ticks) * walk.tick_ms
    turn = np.sin(2 * np.pi * time / 3.2)
    lifted = np.clip(np.abs(turn) * 90 - 45, 0, 40)
    block.raw[:, 0] = np.clip(turn * 20, -12, 12)
    block.raw[:, 1] = 2 * np.cos(time)
    block.raw[:, 2] = np.where(turn > 0.5, 2, 20)
    block.raw[:, 3] = np.where(turn < -0.5, 2, 20)
    block.raw[:, 4] = lifted
    block.fresh[:] = FRESH_RAW
    block.fresh[1::2, :2] = 0  # tilt comes every other tick
    block.events[100] = 1
    return block


class Played:
    """The eight phases' walk as something that answers tick by tick."""

    def __init__(self, walk: Plan) -> None:
        self._block, self._row = played(walk, TICKS), -1

    def inputs(self, now_ms: int, setpoints: NDArray[np.float32]) -> TickBlock:
        del now_ms, setpoints
        self._row += 1
        at = slice(self._row, self._row + 1)
        return TickBlock(*(getattr(self._block, name)[at].copy() for name in TickBlock.__slots__[:6]))


def jostled(walk: str, seed: int) -> TickBlock:
    """A walk that goes on, although samples stand on thresholds or stay out now and then."""
    rng, near = Random(seed), near_values(plan(walk))
    plant = FollowPlant(plan(walk), FollowOptions(seed=seed)) if walk == "stork" else Played(plan(walk))
    executor = ReferenceExecutor(plan(walk))
    setpoints = np.zeros(len(plan(walk).setpoints), np.float32)
    blocks, silent = [], 0
    for row in range(TICKS):
        block = plant.inputs(row * 10, setpoints)
        block.now[0] = (2**32 - 20_000 + row * 10) % 2**32
        column = rng.randrange(len(near))
        if rng.random() < 0.05:
            form, value = sample(rng, plan(walk).signals[column], rng.choice(near[column]))
            block.fresh[0, column], block.raw[0, column] = form, value
        silent = rng.randint(1, 30) if rng.random() < 0.002 else max(silent - 1, 0)
        if silent:
            block.fresh[0, silent % len(near)] = NOT_FRESH
        block.events[0] |= (rng.random() < 0.05) | (rng.random() < 0.001) << 1
        block.control[0] |= RESET * (rng.random() < 0.0005)
        setpoints = executor.run(block).setpoint[-1]
        blocks.append(block)
    return join_blocks(blocks)


@lru_cache
def disturbed(walk: str) -> tuple[TickBlock, ...]:
    wild = [trace.block for trace in random_traces(plan(walk), 10, TICKS)]
    return (*wild, *(jostled(walk, seed) for seed in range(10)))


def image(target: Controller, walk: str, by_hand: bool, watched: bool, folder: Path) -> Image:
    form = Form(plan(walk), watched=watched, leaves=range(0))
    files, sources = program_files([form], target.port)
    if by_hand:
        view = view_of(plan(walk))
        for part, end in (("header", "h"), ("source", "cpp")):
            files[view[part]] = (HERE / f"handwritten_{walk}.{end}").read_text(encoding="ascii")
    write_files(files, folder)
    program = build(target, folder, sources)
    sizes = Sizes(0, 0) if target.compiler is None else sizes_of(target.compiler.size, program)
    return Image(target, (form,), program, sizes)


def replies(image: Image, blocks: tuple[TickBlock, ...]) -> list[Reply]:
    return replay(image, [(0, [block]) for block in blocks])


@lru_cache
def references(walk: str) -> tuple[HistoryBlock, ...]:
    return tuple(
        ReferenceExecutor(plan(walk)).run(block, detail=True) for block in (walked(walk), *disturbed(walk))
    )


@pytest.mark.parametrize("walk", WALKS)
@pytest.mark.parametrize("name", ["host", *CONTROLLERS])
@pytest.mark.parametrize("watched", [False, True], ids=["as it is", "with causes and samples"])
def test_code_by_hand_decides_as_the_reference_does(
    name: str, walk: str, watched: bool, tmp_path: Path
) -> None:
    blocks = (walked(walk), *disturbed(walk))
    by_hand = image(controller(name), walk, True, watched, tmp_path)
    for reply, record in zip(replies(by_hand, blocks), references(walk), strict=True):
        difference = first_difference(plan(walk), record, as_record(reply, record))
        assert difference is None, difference


@pytest.mark.parametrize("walk", WALKS)
def test_the_inputs_make_everything_happen(walk: str) -> None:
    phases = [np.concatenate([r.phase.ravel() for r in part]) for part in _parts(references(walk))]
    every = range(len(plan(walk).sequences[0].phases))
    assert all((phases[0] == phase).any() for phase in every[:-1])
    assert all((phases[1] == phase).sum() > 300 for phase in every)
    causes = np.concatenate([record.cause.ravel() for record in references(walk)]) >> 8
    assert all((causes == kind).sum() > 10 for kind in (BY_RESET, BY_GUARD, BY_ANYWHERE, BY_TIMEOUT))


def _parts(records: tuple[HistoryBlock, ...]) -> tuple[tuple[HistoryBlock, ...], ...]:
    return records[:1], records[1:]


@pytest.mark.parametrize(
    ("right", "wrong"),
    [("(roll > 25.0F)", "(roll >= 25.0F)"), (">= limit", "> limit"), (" - 8.063241F", " - 8.063242F")],
)
def test_a_slip_in_the_code_by_hand_is_found(right: str, wrong: str, tmp_path: Path) -> None:
    by_hand = image(controller("host"), "stork", True, False, tmp_path)
    source = tmp_path / "stork_stepping.cpp"
    text = source.read_text()
    assert text.count(right) == 1
    source.write_text(text.replace(right, wrong))
    _, sources = program_files([by_hand.forms[0]], "host")
    build(by_hand.target, tmp_path, sources)
    pairs = zip(replies(by_hand, disturbed("stork")), references("stork")[1:], strict=True)
    assert any(first_difference(plan("stork"), record, as_record(reply, record)) for reply, record in pairs)


@dataclass(frozen=True, slots=True)
class Figures:
    """What one sequencer takes on one controller."""

    object_bytes: int
    linked_bytes: int
    state_bytes: int
    median: float
    worst: float
    disturbed_median: float


def figures(target: Controller, walk: str, by_hand: bool, folder: Path) -> Figures:
    assert target.compiler is not None
    built = image(target, walk, by_hand, False, folder)
    view = view_of(plan(walk))
    compiler = target.compiler
    run_program([compiler.program, *compiler.flags, "-c", "-o", "only.o", view["source"]], folder=folder)
    counts = [reply.frames["cost"] for reply in replies(built, (walked(walk), *disturbed(walk)))]
    unit = COUNTS_PER_INSTRUCTION if target.unit == "instructions" else 1.0
    return Figures(
        object_bytes=sizes_of(compiler.size, folder / "only.o").flash,
        linked_bytes=built.sizes.flash,
        state_bytes=replies(built, (walked(walk),))[0].state,
        median=float(np.median(counts[0])) / unit,
        worst=max(int(count.max()) for count in counts) / unit,
        disturbed_median=float(np.median(np.concatenate(counts[1:]))) / unit,
    )


def test_generated_over_by_hand(tmp_path: Path, print_table: Callable[[str], None]) -> None:
    lines = [f"{'':34} {'generated':>10} {'by hand':>8} {'ratio':>6}"]
    for walk in WALKS:
        for name in CONTROLLERS:
            target = controller(name)
            made = figures(target, walk, False, tmp_path / f"{walk}-{name}-made")
            hand = figures(target, walk, True, tmp_path / f"{walk}-{name}-hand")
            lines.append(f"{walk} on {target.title}")
            rows = (
                ("bytes of the object", made.object_bytes, hand.object_bytes),
                ("bytes of the whole program", made.linked_bytes, hand.linked_bytes),
                ("bytes of a State", made.state_bytes, hand.state_bytes),
                (f"{target.unit} a tick, median", made.median, hand.median),
                (f"{target.unit} a tick, disturbed", made.disturbed_median, hand.disturbed_median),
                (f"{target.unit} a tick, worst", made.worst, hand.worst),
            )
            lines += [f"  {what:32} {a:10.0f} {b:8.0f} {a / b:6.2f}" for what, a, b in rows]
    print_table("\n".join(lines))
