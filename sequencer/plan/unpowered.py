"""What a stop takes the power from: outputs that hold without it, that may sink, of which nothing is said."""

from dataclasses import dataclass

from sequencer.plan.tables import Phase, Plan


@dataclass(frozen=True, slots=True)
class Unpowered:
    """The outputs, by index, that go off in a stop phase: those that hold, that sink, that may do either.

    Outputs without a loop are not among `unsaid`: they move nothing to a place.
    """

    off: tuple[int, ...]
    sinks: tuple[int, ...]
    unsaid: tuple[int, ...]


def unpowered_in(plan: Plan, phase: Phase) -> Unpowered | None:
    """Say what a phase takes the power from; None for one that leaves it on, or if there are no outputs."""
    if phase.stop not in {0, 1} or not plan.outputs:
        return None
    outputs = list(enumerate(plan.outputs))
    return Unpowered(
        off=tuple(i for i, _ in outputs),
        sinks=tuple(i for i, output in outputs if output.holds_unpowered is False),
        unsaid=tuple(i for i, output in outputs if output.holds_unpowered is None and output.loops),
    )


def unpowered_words(plan: Plan, phase: Phase) -> str:
    """Say it in words, such as "the outputs go off at the end; left_knee_motor may sink"; empty if none."""
    found = unpowered_in(plan, phase)
    if found is None:
        return ""
    words = ["the outputs go off at once" if phase.stop == 0 else "the outputs go off at the end"]
    for indices, what in ((found.sinks, "may sink"), (found.unsaid, "may sink or hold: nothing is said")):
        if indices:
            words.append(f"{', '.join(plan.outputs[i].name for i in indices)} {what}")
    return "; ".join(words)


def setpoints_behind(plan: Plan, output: int) -> tuple[int, ...]:
    """List the setpoints that the loops of an output follow themselves, in loop order."""
    terms = (term for index in plan.outputs[output].loops for term in plan.loops[index].terms)
    return tuple(dict.fromkeys(term.setpoint for term in terms if term.setpoint is not None))
