"""What became of a run in which the machine was helped by hand or walked in single steps."""

from sequencer.history.blocks import FOR_STEP, OVERDUE
from sequencer.history.run import Interval, Run


def helped_words(run: Run) -> str:
    """Say how often timeouts only warned, in which phases, and how often a guard waited for a step."""
    said = []
    late = [wait for wait in run.waits if wait.state == OVERDUE]
    if late:
        times = f"{len(late)} timeout{'s' if len(late) > 1 else ''} only warned"
        phases = dict.fromkeys(_phase(run, wait) for wait in late)
        said.append(f"{times} (in {', '.join(phases)})")
    steps = sum(wait.state == FOR_STEP for wait in run.waits)
    if steps:
        said.append(f"guards waited {steps} time{'s' if steps > 1 else ''} for a step")
    return f"helped by hand: {'; '.join(said)}" if said else ""


def _phase(run: Run, wait: Interval) -> str:
    """Name the phase in which a sequence was in a tick; with several sequences, whose it is."""
    moves, table = run.transitions.of(wait.which), run.plan.sequences[wait.which]
    row = int((moves.tick <= wait.from_tick).sum()) - 1
    phase = table.phases[run.first_phases[wait.which] if row < 0 else int(moves.entered[row])].name
    return f"{table.name}.{phase}" if len(run.plan.sequences) > 1 else phase
