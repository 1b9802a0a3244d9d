"""What guards become in the plan: leaves, levels, latches, holds, postfix nodes, sentences."""

import pytest
from support.gaits import codes, errors_in, gait, guard_of, leaf_of, leaving, plan_of, spot

from sequencer.base.binary32 import f32
from sequencer.plan.tables import (
    Compare,
    Follow,
    Hold,
    InPhase,
    Level,
    Lost,
    Node,
    OnEvent,
    OnSwitch,
)
from sequencer.plan.words import guard_words

# signals: 0 left_tilt, 1 right_tilt, 2 body, 3 knee; parameters: 0 angle (deg), 1 lift (mm), 2 limit (deg)
LEAVES = [
    ("{signal: knee, at_least: 3 mm}", ("at_least", Level(3.0), None, None, None), "knee is at least 3 mm"),
    ("{signal: knee, at_most: 3 mm}", ("at_most", None, Level(3.0), None, None), "knee is at most 3 mm"),
    ("{signal: knee, above: 0.3 cm}", ("above", Level(3.0), None, None, None), "knee is above 3 mm"),
    ("{signal: knee, below: lift}", ("below", None, Level(None, 1), None, None), "knee is below lift"),
    (
        "{signal: knee, within: [3 mm, lift]}",
        ("within", Level(3.0), Level(None, 1), None, None),
        "knee is within 3 mm to lift",
    ),
    (
        "{signal: knee, outside: [{of: lift, plus: -2 mm}, {of: lift, plus: 2 mm}]}",
        ("outside", Level(-2.0, 1), Level(2.0, 1), None, None),
        "knee is outside lift - 2 mm to lift + 2 mm",
    ),
    (
        "{signal: knee, above: 5 mm, release: 3 mm}",
        ("above", Level(5.0), None, Level(3.0), None),
        "knee is above 5 mm (until not above 3 mm)",
    ),
    (
        "{signal: knee, below: 5 mm, release: {of: lift, plus: 1 mm}}",
        ("below", None, Level(5.0), None, Level(1.0, 1)),
        "knee is below 5 mm (until not below lift + 1 mm)",
    ),
    (
        "{signal: knee, within: [5 mm, 9 mm], release: [4 mm, 10 mm]}",
        ("within", Level(5.0), Level(9.0), Level(4.0), Level(10.0)),
        "knee is within 5 mm to 9 mm (until outside 4 mm to 10 mm)",
    ),
    (
        "{signal: knee, outside: [5 mm, 9 mm], release: [6 mm, 8 mm]}",
        ("outside", Level(5.0), Level(9.0), Level(6.0), Level(8.0)),
        "knee is outside 5 mm to 9 mm (until within 6 mm to 8 mm)",
    ),
]


@pytest.mark.parametrize(("when", "row", "words"), LEAVES)
def test_a_comparison_of_a_signal(when: str, row: tuple[object, ...], words: str) -> None:
    plan = plan_of(phases=leaving(when))
    guard = guard_of(plan)
    leaf = plan.leaves[guard.leaves[0]]
    assert isinstance(leaf, Compare)
    assert (leaf.op, leaf.low, leaf.high, leaf.release_low, leaf.release_high) == row
    latch = 0 if "release" in when else None
    assert (leaf.source, leaf.index, leaf.unit, leaf.latch) == ("signal", 3, "mm", latch)
    assert guard_words(plan, guard.index) == words


FOLLOWS = [
    ("{reached: lean, short_by: 2 deg}", ("reached", 0, Level(2.0), None),
     "left_tilt and right_tilt have come within 2 deg of lean or past it"),
    ("{at_target: bend, tolerance: 3 mm}", ("at_target", 1, Level(3.0), None), "knee is within 3 mm of bend"),
    ("{at_target: lean, tolerance: limit}", ("at_target", 0, Level(None, 2), None),
     "left_tilt and right_tilt are within limit of lean"),
    ("{at_target: bend, tolerance: 3 mm, release: 4 mm}", ("at_target", 1, Level(3.0), Level(4.0)),
     "knee is within 3 mm of bend (until 4 mm off)"),
    ("{reached: bend, short_by: {of: lift, plus: 1 mm}, release: {of: lift, plus: 2 mm}}",
     ("reached", 1, Level(1.0, 1), Level(2.0, 1)),
     "knee has come within lift + 1 mm of bend or past it (until lift + 2 mm off)"),
]  # fmt: skip


@pytest.mark.parametrize(("when", "row", "words"), FOLLOWS)
def test_a_comparison_with_a_target(when: str, row: tuple[object, ...], words: str) -> None:
    plan = plan_of(phases=leaving(when))
    leaf = plan.leaves[guard_of(plan).leaves[0]]
    assert isinstance(leaf, Follow)
    assert (leaf.op, leaf.setpoint, leaf.tolerance, leaf.release) == row
    assert guard_words(plan, guard_of(plan).index) == words


@pytest.mark.parametrize(
    ("when", "row", "words"),
    [
        ("{event: halt}", OnEvent(1, None), "halt comes"),  # type: ignore[arg-type]
        ("{switch: motors}", OnSwitch(0, True, None), "motors is on"),  # type: ignore[arg-type]
        ("{lost: knee}", Lost(3, None), "knee is lost"),  # type: ignore[arg-type]
        ("{lost: remote}", Lost(None, None), "the remote is lost"),  # type: ignore[arg-type]
        ("{sequence: walk, in: [safe, still]}", InPhase(0, (0, 2), None), "walk is in still or safe"),  # type: ignore[arg-type]
        ("{sequence: walk, in: safe}", InPhase(0, (2,), None), "walk is in safe"),  # type: ignore[arg-type]
    ],
)
def test_the_other_leaves(when: str, row: object, words: str) -> None:
    from dataclasses import replace

    plan = plan_of(phases=leaving(when))
    leaf = plan.leaves[guard_of(plan).leaves[0]]
    assert replace(leaf, place=None) == row  # type: ignore[arg-type]
    assert guard_words(plan, guard_of(plan).index) == words


def test_a_counter_is_compared_without_a_unit() -> None:
    leaf = leaf_of("{counter: steps, at_least: 5, release: 3}")
    assert isinstance(leaf, Compare)
    assert (leaf.source, leaf.index, leaf.unit, leaf.low, leaf.release_low) == (
        "counter",
        0,
        "",
        Level(5.0),
        Level(3.0),
    )


def test_a_switch_without_a_remote_is_never_unknown() -> None:
    leaf = leaf_of("{switch: motors}", inputs="  events: [go, halt]\n  switches: [motors]")
    assert isinstance(leaf, OnSwitch)
    assert leaf.remote is False


def test_nested_guards_are_written_in_postfix_order_and_as_one_sentence() -> None:
    when = (
        "{all: [{event: halt}, {any: [{switch: motors}, {not: {lost: knee}}]}, {signal: knee, above: 5 mm}]}"
    )
    plan = plan_of(phases=leaving(when))
    guard = guard_of(plan)
    kinds = [
        (node.kind, node.arg - guard.leaves[0] if node.kind == "leaf" else node.arg) for node in guard.nodes
    ]
    assert kinds == [
        ("leaf", 0), ("leaf", 1), ("leaf", 2), ("not", 1), ("any", 2), ("leaf", 3), ("all", 3),
    ]  # fmt: skip
    assert guard_words(plan, guard.index) == (
        "halt comes and (motors is on or knee is not lost) and knee is above 5 mm"
    )


def test_leaves_know_their_places() -> None:
    when = "{all: [{event: halt}, {any: [{switch: motors}, {signal: knee, above: 5 mm}]}]}"
    plan, text = plan_of(phases=leaving(when)), gait(phases=leaving(when))
    guard = guard_of(plan)
    places = [plan.leaves[i].place for i in guard.leaves] + [guard.place]
    assert [f"{p.line}:{p.column}" for p in places] == [
        spot(text, what)
        for what in ("{event: halt}", "{switch: motors}", "{signal: knee", "{all: [{event: halt}")
    ]


@pytest.mark.parametrize(
    ("hold", "row", "words"),
    [
        ("200 ms", Hold(0, 200, None, ()), "for 200 ms"),
        ("1.5 s", Hold(0, 1500, None, ()), "for 1.5 s"),
        ("3 samples", Hold(0, None, 3, (0, 1, 3)), "for 3 fresh samples"),
        ("1 sample", Hold(0, None, 1, (0, 1, 3)), "for 1 fresh sample"),
    ],
)
def test_a_hold_in_time_or_in_fresh_samples_of_the_signals_compared(hold: str, row: Hold, words: str) -> None:
    when = (
        "{any: [{signal: knee, above: 5 mm}, {not: {at_target: lean, tolerance: 1 deg}}, {lost: left_tilt}]}"
    )
    plan = plan_of(phases=leaving(when, hold))
    assert guard_of(plan).hold == row
    assert guard_words(plan, guard_of(plan).index).endswith(", " + words)


def test_a_hold_of_nothing_is_none() -> None:
    assert guard_of(plan_of(phases=leaving("{event: halt}", "0 ms"))).hold is None


def test_phases_share_the_slots_of_their_sequence_and_anywhere_has_its_own() -> None:
    latched = "{signal: knee, above: 5 mm, release: 3 mm}"
    both = f"{{all: [{latched}, {latched}]}}"
    phases = (
        f"  still: {{leave: [{{to: work, when: {both}, hold: 1 s}}, {{to: work, when: {latched}}}]}}\n"
        f"  work: {{leave: [{{to: still, when: {latched}, hold: 1 s}}]}}\n  safe: {{stop: 1}}\n"
    )
    plan = plan_of(phases=phases, more=f"anywhere: [{{to: safe, when: {latched}, hold: 5 ms}}]")
    (walk,) = plan.sequences
    assert (walk.first_latch, walk.latches, walk.first_hold, walk.holds) == (0, 3, 0, 1)
    latches = [leaf.latch for leaf in plan.leaves if isinstance(leaf, Compare)]
    assert latches == [0, 1, 2, 0, 3]
    assert [guard.hold.slot for guard in plan.guards if guard.hold] == [0, 0, 1]
    assert (plan.latches, plan.holds) == (4, 2)


def test_a_level_is_converted_in_binary64_and_rounded_once() -> None:
    import math

    leaf = leaf_of("{signal: body, above: 0.3 rad}")
    assert isinstance(leaf, Compare)
    assert leaf.low == Level(f32(0.3 * (180 / math.pi)))


def test_a_rule_is_broken_while_one_thing_holds_and_another_does_not() -> None:
    more = """
rules:
  - {name: a, while: {signal: knee, above: 5 mm}, must: {signal: body, above: 1 deg}, hold: 2 samples,
     to: safe}
  - {name: b, must: {any: [{switch: motors}, {event: go}]}}
"""
    plan = plan_of(more=more)
    first, second = plan.rules
    nodes = plan.guards[first.guard].nodes
    assert [node.kind for node in nodes] == ["leaf", "leaf", "not", "all"]
    assert (first.must_from, first.must_to, first.to, first.mirrored) == (1, 2, (2,), False)
    assert plan.guards[first.guard].hold == Hold(0, None, 2, (2, 3))
    assert [node.kind for node in plan.guards[second.guard].nodes] == ["leaf", "leaf", "any", "not"]
    assert (second.must_from, second.must_to, second.to) == (0, 3, None)
    assert nodes[3] == Node("all", 2)


BAD = [
    ("{event: halt, switch: motors}", "{event: halt, s", "bad-guard"),
    ("{}", "{}", "bad-guard"),
    ("{signal: knee}", "{signal: knee}", "bad-guard"),
    ("{signal: knee, above: 3 mm, in: [safe]}", "{signal: knee, above", "bad-guard"),
    ("{event: halt, above: 3 mm}", "{event: halt, a", "bad-guard"),
    ("{event: halt, release: 3 mm}", "{event: halt, r", "bad-guard"),
    ("{all: []}", "[]}", "missing-key"),
    ("{sequence: walk}", "{sequence: walk}", "missing-key"),
    ("{sequence: walk, in: []}", "{sequence: walk", "missing-key"),
    ("{reached: lean}", "{reached: lean}", "missing-key"),
    ("{at_target: bend, short_by: 3 mm}", "{at_target", "bad-guard"),
    ("{signal: knee, above: 3 deg}", "3 deg}", "bad-unit"),
    ("{signal: knee, above: 3}", "3}", "bad-unit"),
    ("{signal: knee, above: angle}", "angle}", "bad-unit"),
    ("{signal: knee, above: {of: lift, plus: 3 deg}}", "{of: lift", "bad-unit"),
    ("{signal: knee, above: {of: lift}}", "{of: lift", "bad-level"),
    ("{signal: knee, above: lift + 3 mm}", "lift + 3", "bad-name"),
    ("{signal: knee, above: 9**9**9 mm}", "9**9", "bad-unit"),
    ("{signal: knee, above: 1e39 mm}", "1e39", "bad-number"),
    ("{signal: knee, above: gone}", "gone}", "unknown-name"),
    ("{signal: knee, within: [3 mm]}", "[3 mm]", "wrong-type"),
    ("{signal: knee, within: [5 mm, 3 mm]}", "[5 mm", "out-of-span"),
    ("{signal: knee, within: [lift, 39 mm]}", "[lift", "out-of-span"),
    ("{signal: knee, within: [3 mm, 5 mm], release: 6 mm}", "6 mm", "wrong-type"),
    ("{signal: knee, within: [3 mm, 5 mm], release: [4 mm, 6 mm]}", "[4 mm", "bad-release"),
    ("{signal: knee, outside: [3 mm, 5 mm], release: [2 mm, 4 mm]}", "[2 mm", "bad-release"),
    ("{signal: knee, above: 3 mm, release: [1 mm, 2 mm]}", "[1 mm", "wrong-type"),
    ("{signal: knee, above: 3 mm, release: 4 mm}", "4 mm", "bad-release"),
    ("{signal: knee, at_most: 3 mm, release: 2 mm}", "2 mm", "bad-release"),
    ("{signal: knee, above: lift, release: 41 mm}", "41 mm", "bad-release"),
    ("{signal: knee, above: {of: lift, plus: 2 mm}, release: {of: lift, plus: 3 mm}}", "{of: lift, plus: 3",
     "bad-release"),
    ("{at_target: bend, tolerance: 3 mm, release: 2 mm}", "2 mm", "bad-release"),
    ("{at_target: bend, tolerance: -3 mm}", "-3 mm", "out-of-span"),
    ("{reached: bend, short_by: {of: lift, plus: -1 mm}}", "{of: lift", "out-of-span"),
    ("{lost: body}", "body}", "never-lost"),
    ("{lost: motors}", "motors}", "unknown-name"),
    ("{counter: steps, above: 3 mm}", "3 mm", "bad-unit"),
    ("{sequence: walk, in: [saef]}", "saef", "unknown-name"),
    ("{sequence: wlak, in: [safe]}", "wlak", "unknown-name"),
]  # fmt: skip


@pytest.mark.parametrize(("when", "at", "code"), BAD)
def test_one_error_at_its_place(when: str, at: str, code: str) -> None:
    phases = leaving(when)
    text = gait(phases=phases)
    offset = text.index(phases)
    line, column = spot(text[offset:], at).split(":")
    expected = (int(line) + text[:offset].count("\n"), int(column), code)
    assert [(f.place.line, f.place.column, f.code) for f in errors_in(text)] == [expected]


@pytest.mark.parametrize(
    ("hold", "code"),
    [("0 samples", "out-of-span"), ("256 samples", "out-of-span"), ("3", "bad-unit"), ("3 deg", "bad-unit"),
     ("-1 s", "out-of-span"), ("0.5 ms", "out-of-span"), ("3 simples", "bad-unit"), ("[3]", "bad-unit")],
)  # fmt: skip
def test_a_hold_that_cannot_be_kept(hold: str, code: str) -> None:
    assert codes(phases=leaving("{signal: knee, above: 3 mm}", hold)) == [code]
