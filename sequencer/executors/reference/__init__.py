"""The readable, normative form of one tick, on the `transitions` package.

Where to look: `executor.py` the order of a tick, `inputs.py` samples and lostness, `leaves.py` comparisons
and latches, `guards.py` three-valued logic and holds, `sequences.py` phases and transitions, `setpoints.py`
targets and ramps, `loops.py` and `outputs.py` what goes to the motors, `record.py` how the record is
gathered.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sequencer.executors.reference.executor import ReferenceExecutor as ReferenceExecutor

__all__ = ["ReferenceExecutor"]


def __getattr__(name: str) -> Any:
    if name == "ReferenceExecutor":  # late, because `transitions` is slow to import
        from sequencer.executors.reference.executor import ReferenceExecutor

        return ReferenceExecutor
    raise AttributeError(name)
