"""What to say of outputs that were stalled or cut in a run."""

from collections.abc import Iterator

from sequencer.base.places import Place
from sequencer.history.amounts import duration
from sequencer.history.blocks import OUTPUT_CUT
from sequencer.history.run import Interval, Run
from sequencer.plan.tables import Output
from sequencer.plan.words import ms_words, number_words


def stopped_outputs(run: Run) -> Iterator[tuple[int, str, Place]]:
    """Give each stall, and each cut once (it takes all outputs): when, in words, where it is declared."""
    cuts: set[int] = set()
    for interval in run.stopped_outputs:
        if interval.state != OUTPUT_CUT:
            output = run.plan.outputs[interval.which]
            yield interval.from_ms, _stall_words(run, interval, output), output.place
        elif interval.from_tick not in cuts:
            cuts.add(interval.from_tick)
            words, place = _cut_words(run)
            yield interval.from_ms, words, place


def _stall_words(run: Run, interval: Interval, output: Output) -> str:
    lasted = duration(interval.to_ms - interval.from_ms)
    stall = output.stall
    if stall is None:
        return f"{output.name} stalled and was off for {lasted}"
    signal = run.plan.signals[stall.signal]
    moved = number_words(stall.moves, signal.unit)
    return (
        f"{output.name} stalled and was off for {lasted}: beyond {number_words(stall.above, '')} "
        f"for {ms_words(stall.for_ms)} while {signal.name} moved less than {moved}"
    )


def _cut_words(run: Run) -> tuple[str, Place]:
    """Name the supply that can have been under its least value; the record does not say which of several."""
    plan = run.plan
    watching = [output for output in plan.outputs if output.supply is not None and output.supply.least]
    said = {}
    for output in watching:
        supply = output.supply
        assert supply is not None and supply.least is not None
        signal = plan.signals[supply.signal]
        least = number_words(supply.least, signal.unit)
        said[f"{signal.name} was under {least} for {ms_words(supply.under_for_ms)}"] = output.place
    words = " or ".join(said) or "the supply was under its least value"
    return f"all outputs were cut until reset: {words}", next(iter(said.values()), plan.outputs[0].place)
