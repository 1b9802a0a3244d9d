"""One side changed in every sound walk: the pair is told, side by side."""

from collections.abc import Iterator
from dataclasses import replace

from support.commands import REPOSITORY

from sequencer.base.places import Place
from sequencer.check import check
from sequencer.check.symmetry import swapped
from sequencer.plan import tables as t
from sequencer.plan.build import load_plan

WALKS = [
    *sorted((REPOSITORY / "tests" / "corpus" / "sound").glob("*.gait.yaml")),
    *sorted((REPOSITORY / "examples").glob("*/*.gait.yaml")),
]
HERE = Place("planted.gait.yaml", 9000, 1)


def one_side_changed(plan: t.Plan) -> Iterator[t.Plan]:
    """Signals that come slower, setpoints that move faster, loops with more gain, on one side."""
    for i, signal in enumerate(plan.signals):
        if swapped(signal.name) != signal.name:
            signals = list(plan.signals)
            slower = (signal.every_us or 10_000) * 2
            signals[i] = replace(signal, every_us=slower, lost_after_ms=900, place=HERE)
            yield replace(plan, signals=tuple(signals))
    for i, setpoint in enumerate(plan.setpoints):
        if swapped(setpoint.name) != setpoint.name and setpoint.rate is not None:
            setpoints = list(plan.setpoints)
            rate = replace(setpoint.rate, per_second=setpoint.rate.per_second + 1)
            setpoints[i] = replace(setpoint, rate=rate, place=HERE)
            yield replace(plan, setpoints=tuple(setpoints))
    for i, loop in enumerate(plan.loops):
        if swapped(loop.name) != loop.name:
            loops = list(plan.loops)
            loops[i] = replace(loop, kp=loop.kp * 2, place=HERE)
            yield replace(plan, loops=tuple(loops))


def test_a_side_that_was_changed_alone_is_told_with_both_numbers() -> None:
    planted = 0
    for path in WALKS:
        for mutant in one_side_changed(load_plan(path)):
            planted += 1
            found = [f for f in check(mutant) if f.code == "uneven-machine"]
            assert len(found) == 1, path.name
            places = {found[0].place, *(place for place, _ in found[0].notes)}
            assert HERE in places
            assert " differ: " in found[0].message
            assert " and " in found[0].message.partition(" differ: ")[2]
    assert planted >= 40


def test_only_whole_words_are_sides() -> None:
    assert swapped("left_knee") == "right_knee"
    assert swapped("rh_load") == "lh_load"
    assert swapped("leftover_l") == "leftover_r"
    assert swapped("lift") == "lift"
