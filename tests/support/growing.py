"""Gaits of any number of sequences, phases and guards, all phases alike; what they take on a controller.

The signal `tilt` goes up and down every ten ticks; each time all sequences go on by a phase. Guards before
the one that fires look at `other` and never fire. Thresholds differ everywhere, so no two guards are one.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sequencer.plan.tables import Plan
from sequencer.prove.controllers import controller
from sequencer.prove.images import build_image, replay
from sequencer.prove.wire import Form
from sequencer.trace.blocks import FRESH_RAW, TickBlock, empty_block
from support.plans import Phase, above, below, event, make_plan, setpoint, signal

PHASE_TICKS = 10


def growing_gait(sequences: int, phases: int, guards: int) -> Plan:
    """Make a gait; `phases` (an even number) are those of each sequence, `guards` those of each phase."""
    plan = make_plan(
        {f"s{s}": [_phase(s, k, phases, guards) for k in range(phases)] for s in range(sequences)},
        signals=[signal("tilt", lost_after_ms=100), signal("other", lost_after_ms=100)],
        setpoints=[setpoint(f"y{s}", step=0.16) for s in range(sequences)],
        anywhere=[("p0", event("halt"))],
    )
    return replace(plan, name=f"grow_{sequences}_{phases}_{guards}")


def _phase(sequence: int, number: int, phases: int, guards: int) -> Phase:
    apart = number / 100 + sequence / 1000
    onward = f"p{(number + 1) % phases}"
    idle = [(f"p{(number + 2) % phases}", above("other", 30 + j + apart)) for j in range(guards - 1)]
    leads = (onward, below("tilt", -5 - apart) if number % 2 else above("tilt", 5 + apart))
    target = 5.0 if number % 2 else -5.0  # too far to be reached in the phase: each tick ramps
    return Phase(f"p{number}", [*idle, leads], set={f"y{sequence}": target}, timeout=(60_000, "p0"))


def up_and_down(ticks: int) -> TickBlock:
    """Give the inputs that take every sequence on by a phase every ten ticks."""
    block = empty_block(ticks, 2)
    block.now[:] = np.arange(ticks) * 10
    block.raw[:, 0] = np.where(np.arange(ticks) // PHASE_TICKS % 2 == 0, 10, -10)
    block.fresh[:] = FRESH_RAW
    return block


@dataclass(frozen=True)
class Taken:
    """What ticks take on a controller, in its own counts, and the flash of the whole program."""

    median: float
    worst: float
    flash: int


def taken(name: str, sequences: int, phases: int, guards: int, folder: Path, *, longest: int = 100) -> Taken:
    """Run a gait once through `longest` phases; every phase of it is then visited."""
    assert phases <= longest
    form = Form(growing_gait(sequences, phases, guards), watched=False, leaves=range(0))
    image = build_image(controller(name), [form], folder / f"{name}-{sequences}-{phases}-{guards}")
    (reply,) = replay(image, [(0, [up_and_down((longest + 1) * PHASE_TICKS)])])
    assert len(np.unique(reply.frames["phase"])) == phases
    cost = reply.frames["cost"][1:]  # the first tick starts over
    return Taken(float(np.median(cost)), float(cost.max()), image.sizes.flash)
