"""Plans with one thing changed, for planting faults."""

from dataclasses import replace

from sequencer.plan import tables as t


def with_phase(plan: t.Plan, sequence: int, phase: int, **changes: object) -> t.Plan:
    """Change one phase."""
    old = plan.sequences[sequence]
    phases = list(old.phases)
    phases[phase] = replace(phases[phase], **changes)  # type: ignore[arg-type]  # the test names its fields
    sequences = list(plan.sequences)
    sequences[sequence] = replace(old, phases=tuple(phases))
    return replace(plan, sequences=tuple(sequences))
