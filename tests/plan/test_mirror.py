"""The mirrored half of a walk against the same walk written out by hand, table for table."""

from dataclasses import fields, is_dataclass, replace
from typing import Any

import pytest
from support.commands import REPOSITORY
from support.gaits import codes, errors_in, gait, guard_of, leaving, plan_of, spot, told

from sequencer.base.places import NOWHERE, Place
from sequencer.plan.build import load_plan, parse_plan
from sequencer.plan.tables import Compare, Follow, Level, Plan

STORK = REPOSITORY / "examples" / "stork"

# the other side of the stork as a person would write it
BY_HAND = """
  lean_left:
    set: {lean: NEG_LEAN}
    leave:
      - {to: lift_right, when: {reached: lean, short_by: 2 deg}, hold: 3 samples}
  lift_right:
    count: steps
    pulse: horn
    keep: lean
    set: {right_bend: lift}
    leave:
      - {to: lower_right, when: {at_target: right_bend, tolerance: 3 mm}, hold: 3 samples}
    timeout: {after: 3 s, to: safe}
  lower_right:
    keep: lean
    set: {right_bend: 0 mm}
    leave:
      - {to: centre_2, when: {at_target: right_bend, tolerance: 3 mm}, hold: 3 samples}
    timeout: {after: 3 s, to: safe}
  centre_2:
    set: {lean: 0 deg}
    leave:
      - {to: lean_right, when: {at_target: lean, tolerance: 2 deg}, hold: 3 samples}
  safe:
"""
RULE = """
  - name: weight on the standing leg
    while: {signal: right_knee, above: 8 mm}
    must: {signal: right_leg_roll, below: -8 deg}

"""
LOOPS = "loops: {balance: {acts_in: [standing, centre_1, centre_2]}}\n"


def bare(value: Any) -> Any:
    """Drop places and the marks of mirroring."""
    if isinstance(value, Place):
        return NOWHERE
    if isinstance(value, tuple):
        return tuple(bare(item) for item in value)
    if is_dataclass(value) and not isinstance(value, type):
        changes = {field.name: bare(getattr(value, field.name)) for field in fields(value)}
        changes |= {name: type(changes[name])() for name in ("mirrored", "mirrored_from") if name in changes}
        return replace(value, **changes)
    return value


def stork_by_hand() -> Plan:
    text = (STORK / "stork.gait.yaml").read_text(encoding="utf-8")
    text = text[: text.index("loops:")].replace("  safe:\n", BY_HAND.lstrip("\n"), 1)
    # a parameter cannot be negated by hand, so a number stands here and is exchanged below
    text = text.replace("NEG_LEAN", "-15 deg")
    text += RULE.lstrip("\n") + LOOPS
    return parse_plan(text, machine=STORK / "stork.machine.yaml", name="by hand")


def test_the_mirrored_stork_is_the_stork_written_out_by_hand() -> None:
    mirrored, by_hand = load_plan(STORK / "stork.gait.yaml"), stork_by_hand()
    (walk,) = mirrored.sequences
    number = next(i for i, phase in enumerate(walk.phases) if phase.name == "lean_left")
    lean_left = walk.phases[number]
    assert lean_left.commands[0].level == Level(None, 0, negated=True)
    number_instead = replace(lean_left, commands=(replace(lean_left.commands[0], level=Level(-15.0)),))
    phases = (*walk.phases[:number], number_instead, *walk.phases[number + 1 :])
    mirrored = replace(mirrored, sequences=(replace(walk, phases=phases),))
    for field in fields(Plan):
        if field.name not in {"sources", "sha", "guards", "leaves"}:
            assert bare(getattr(mirrored, field.name)) == bare(getattr(by_hand, field.name)), field.name
    assert bare(mirrored.leaves) == bare(by_hand.leaves)
    assert bare(mirrored.guards) == bare(by_hand.guards)


def test_phases_say_whose_image_they_are_and_stand_after_the_last_original() -> None:
    (walk,) = load_plan(STORK / "stork.gait.yaml").sequences
    assert [(p.name, p.mirrored_from) for p in walk.phases] == [
        ("standing", ""), ("lean_right", ""), ("lift_left", ""), ("lower_left", ""), ("centre_1", ""),
        ("lean_left", "lean_right"), ("lift_right", "lift_left"), ("lower_right", "lower_left"),
        ("centre_2", "centre_1"), ("safe", ""),
    ]  # fmt: skip


MIRROR = "mirror: {swap: {left: right}, negate: [left_tilt, right_tilt, lean, body], phases: {work: krow}}"
LOW, HIGH = Level(-2.0, 0, True), Level(-9.0, 0, True)

# a comparison and its image: op, low, high, release low, release high; angle is parameter 0
IMAGES = [
    ("at_least: 5 deg", ("at_most", None, Level(-5.0), None, None)),
    ("at_most: 5 deg", ("at_least", Level(-5.0), None, None, None)),
    ("above: -5 deg, release: -6 deg", ("below", None, Level(5.0), None, Level(6.0))),
    ("below: 5 deg, release: 6 deg", ("above", Level(-5.0), None, Level(-6.0), None)),
    ("above: angle", ("below", None, Level(None, 0, True), None, None)),
    ("at_most: {of: angle, plus: 2 deg}", ("at_least", LOW, None, None, None)),
    ("within: [3 deg, angle]", ("within", Level(None, 0, True), Level(-3.0), None, None)),
    (
        "within: [{of: angle, plus: 2 deg}, {of: angle, plus: 9 deg}], release: [1 deg, 30 deg]",
        ("within", HIGH, LOW, Level(-30.0), Level(-1.0)),
    ),
    (
        "outside: [-4 deg, angle], release: [-3 deg, 3 deg]",
        ("outside", Level(None, 0, True), Level(4.0), Level(-3.0), Level(3.0)),
    ),
    ("above: 0 deg", ("below", None, Level(0.0), None, None)),
]


@pytest.mark.parametrize(("said", "image"), IMAGES)
@pytest.mark.parametrize(("name", "index"), [("left_tilt", 1), ("body", 2)])
def test_a_comparison_of_a_negated_signal_turns_round(
    said: str, image: tuple[object, ...], name: str, index: int
) -> None:
    plan = plan_of(phases=leaving(f"{{signal: {name}, {said}}}"), more=MIRROR)
    leaf = plan.leaves[guard_of(plan, "krow").leaves[0]]
    assert isinstance(leaf, Compare)
    assert leaf.index == index
    assert (leaf.op, leaf.low, leaf.high, leaf.release_low, leaf.release_high) == image


@pytest.mark.parametrize(("said", "image"), IMAGES)
def test_mirroring_twice_gives_the_first_again(said: str, image: tuple[object, ...]) -> None:
    plan = plan_of(phases=leaving(f"{{signal: left_tilt, {said}}}"), more=MIRROR)
    there = plan.leaves[guard_of(plan, "work").leaves[0]]
    once = plan.leaves[guard_of(plan, "krow").leaves[0]]
    assert isinstance(there, Compare)
    assert isinstance(once, Compare)

    def turned(level: Level | None) -> Level | None:
        if level is None:
            return None
        plus = None if level.plus is None else 0.0 - level.plus
        return Level(plus, level.parameter, level.parameter is not None and not level.negated)

    assert (turned(once.high), turned(once.low)) == (there.low, there.high)
    assert (turned(once.release_high), turned(once.release_low)) == (there.release_low, there.release_high)


def test_a_signal_that_is_not_negated_keeps_its_thresholds() -> None:
    plan = plan_of(phases=leaving("{signal: knee, above: 5 mm}"), more=MIRROR)
    leaf = plan.leaves[guard_of(plan, "krow").leaves[0]]
    assert isinstance(leaf, Compare)
    assert (leaf.op, leaf.low) == ("above", Level(5.0))


def test_tolerances_stay_and_targets_are_negated() -> None:
    phases = leaving("{reached: lean, short_by: 2 deg}", phase="    set: {lean: {of: angle, plus: 1 deg}}\n")
    plan = plan_of(phases=phases, more=MIRROR)
    leaf = plan.leaves[guard_of(plan, "krow").leaves[0]]
    assert isinstance(leaf, Follow)
    assert leaf.tolerance == Level(2.0)
    krow = next(p for p in plan.sequences[0].phases if p.name == "krow")
    assert krow.commands[0].level == Level(-1.0, 0, negated=True)


def test_parameters_events_and_counters_with_swapped_words_are_swapped_too() -> None:
    parameters = (
        "  left_far: {unit: mm, value: 9, span: [5, 12]}\n  right_far: {unit: mm, value: 8, span: [5, 12]}"
    )
    inputs = "  events: [go, halt, left_go, right_go]"
    phases = leaving(
        "{any: [{event: left_go}, {signal: knee, above: left_far}]}", phase="    count: left_n\n"
    )
    plan = plan_of(
        parameters=parameters, inputs=inputs, phases=phases, counters="[left_n, right_n]",
        more="mirror: {swap: {left: right}, phases: {work: krow}}",
    )  # fmt: skip
    event, compare = (plan.leaves[i] for i in guard_of(plan, "krow").leaves)
    assert getattr(event, "event", None) == 3
    assert isinstance(compare, Compare)
    assert compare.low == Level(None, 1)
    assert next(p for p in plan.sequences[0].phases if p.name == "krow").count == (1,)


def test_rules_that_name_a_swapped_word_get_a_twin_and_anywhere_does_not() -> None:
    more = (
        MIRROR
        + """
anywhere: [{to: safe, when: {signal: left_tilt, above: 30 deg}}]
rules:
  - {name: sided, must: {signal: left_tilt, above: -5 deg}, to: work}
  - {name: middle, must: {signal: body, above: -5 deg}}
  - {name: phases, must: {sequence: walk, in: [work, still, safe]}}
  - {name: place, must: {not: {all: [{sequence: walk, in: [work]}, {lost: left_tilt}]}}}
"""
    )
    plan = plan_of(more=more)
    phases = [phase.name for phase in plan.sequences[0].phases]
    assert [(rule.name, rule.mirrored) for rule in plan.rules] == [
        ("sided", False), ("sided", True), ("middle", False), ("phases", False), ("phases", True),
        ("place", False), ("place", True),
    ]  # fmt: skip
    assert [phases[rule.to[0]] for rule in plan.rules[:2] if rule.to] == ["work", "krow"]
    assert len(plan.anywhere) == 1


BAD = [
    ("{swap: {left: right}, negate: [left_tilt], phases: {work: krow}}", "left_tilt], p", "bad-mirror"),
    ("{swap: {left: right}, negate: [lfet], phases: {work: krow}}", "lfet", "unknown-name"),
    ("{swap: {left_tilt: right}, phases: {work: krow}}", "right}, p", "bad-mirror"),
    ("{swap: {left: left}, phases: {work: krow}}", "left}, p", "bad-mirror"),
    ("{swap: {left: right, fore: right}, phases: {work: krow}}", "right, fore", "bad-mirror"),
    ("{swap: {left: right}, phases: {wrok: krow}}", "wrok", "unknown-name"),
    ("{swap: {left: right}, phases: {work: still}}", "still}}", "duplicate-name"),
    ("{swap: {left: right}, phases: {work: krow, still: krow}}", "krow}}", "bad-mirror"),
    ("{swap: {left: right}, phases: {work: 5}}", "5}}", "wrong-type"),
    ("{negate: [lean], phases: {work: krow}}", "mirror", "missing-key"),
]  # fmt: skip


@pytest.mark.parametrize(("mirror", "at", "code"), BAD)
def test_one_error_at_its_place(mirror: str, at: str, code: str) -> None:
    text = gait(more=f"mirror: {mirror}")
    line, column = spot(text[text.index("mirror:") :], at).split(":")
    assert told(text) == [f"{text[: text.index('mirror:')].count(chr(10)) + int(line)}:{column} {code}"]


def test_a_target_that_is_in_span_on_one_side_only_is_told() -> None:
    setpoints = "    lean: {unit: deg, span: [-10, 20], start: 0 deg, followed_by: left_tilt}"
    for target in ("15 deg", "angle"):
        phases = f"  work: {{rest: true, set: {{lean: {target}}}}}\n  safe: {{stop: 1}}"
        assert codes(setpoints=setpoints, phases=phases) == []
        (finding,) = errors_in(gait(setpoints=setpoints, phases=phases, more=MIRROR))
        assert finding.code == "out-of-span"
        assert finding.message == "-15 deg is outside the span of lean (in the mirror image)"
