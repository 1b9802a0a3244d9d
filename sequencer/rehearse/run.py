"""A walk in a closed loop with a body in physics, written down as a recording."""

import time
from dataclasses import dataclass

import numpy as np

from sequencer.base.errors import DifferenceError
from sequencer.history.blocks import Executor
from sequencer.history.drive import drive
from sequencer.history.recorder import Recorder
from sequencer.history.run import Run
from sequencer.plan.tables import Plan
from sequencer.rehearse.body import Body
from sequencer.rehearse.figures import Figures, figures
from sequencer.rehearse.noting import Notes
from sequencer.rehearse.plant import BodyPlant, RehearsalOptions
from sequencer.trace.blocks import TickBlock
from sequencer.trace.record import TraceRecorder
from sequencer.trace.write import Beside


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """What came of a rehearsal.

    run: the walk's run, with margins. blocks: the inputs of all ticks. truth: what really was, a row a tick.
    fallen: why the machine counts as fallen, or empty; then it ended there, at fallen_ms.
    lasted_ms: of the walk's time. took_s: how long physics and walk took together.
    """

    plan: Plan
    body: Body
    run: Run
    blocks: tuple[TickBlock, ...]
    truth: Beside
    figures: Figures
    fallen: str
    fallen_ms: int | None
    lasted_ms: int
    took_s: float

    @property
    def times_real(self) -> float:
        """How many times faster than the real machine it went."""
        return self.lasted_ms / 1000 / self.took_s


def rehearse(
    executor: Executor, body: Body, ticks: int, options: RehearsalOptions | None = None
) -> Rehearsal:
    """Run so many ticks (at least one), or until the machine falls.

    Afterwards the recording is run once more, open loop, on the same executor: that gives the margins, and it
    must come to the same phases. Raises ToolError without the engine, MisuseError for wrong options, and
    DifferenceError if the recording does not replay.
    """
    plan = executor.plan
    plant = BodyPlant(plan, body, options or RehearsalOptions())
    notes, kept, phases = Notes(plant.body), TraceRecorder(), []
    fallen, fallen_ms, done = "", None, 0
    start = time.perf_counter()
    for tick in range(ticks):
        block = plant.inputs()
        notes.note(plant.stance)
        record = executor.run(block)
        kept.add(block)
        phases.append(record.phase[0])
        done += 1
        fallen = plant.stance.fallen
        if fallen:
            fallen_ms = tick * plan.tick_ms
            break
        plant.obey(record)
    took_s = time.perf_counter() - start
    blocks, truth = tuple(kept), notes.beside()
    return Rehearsal(
        plan=plan,
        body=plant.body,
        run=_replayed(executor, blocks, np.array(phases)),
        blocks=blocks,
        truth=truth,
        figures=figures(truth, plan.tick_ms),
        fallen=fallen,
        fallen_ms=fallen_ms,
        lasted_ms=done * plan.tick_ms,
        took_s=took_s,
    )


def _replayed(executor: Executor, blocks: tuple[TickBlock, ...], phases: np.ndarray) -> Run:
    executor.reset()
    recorder = Recorder(executor.plan, keep_ticks=True)
    run = drive(executor, blocks, recorder, detail=True)
    assert run.history is not None
    differ = (run.history.phase != phases).any(axis=1)
    if differ.any():
        tick = int(differ.argmax())
        raise DifferenceError(
            f"the recording of this rehearsal does not replay: tick {tick} comes to another phase",
            f"tick {tick}: in the rehearsal {phases[tick]}, replayed {run.history.phase[tick]}",
        )
    return run
