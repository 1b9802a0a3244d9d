"""What phases, sequences, anywhere, defaults, for_each and parts become in the plan."""

import pytest
from support.gaits import codes, errors_in, gait, phase_of, plan_of, spot, told

from sequencer.plan.build import parse_plan
from sequencer.plan.tables import Anywhere, Command, Level, Plan, Timeout

PHASES = """
  still:
    about: waits
    rest: true
    set: {lean: 0 deg, bend: lift}
    leave: [{to: work, when: {event: go}}, {to: safe, when: {event: halt}}]
  work:
    set: {lean: {of: angle, plus: -1 deg}}
    keep: bend
    count: steps
    pulse: [horn]
    leave: [{to: still, when: {event: halt}}]
    timeout: {after: 2.5 s, to: safe}
  wait:
    reset: steps
    leave: [{to: still, when: {event: go}}]
    timeout: never
    because: a person lifts it
  off: {stop: 0}
  safe: {stop: 1}
  hold: {stop: 2}
"""


def at(text: str, what: str, nth: int = 1) -> str:
    return spot(text, what, nth)


def test_a_phase_with_everything() -> None:
    plan, text = plan_of(phases=PHASES), gait(phases=PHASES)
    work = phase_of(plan, "work")
    command = Command(0, Level(-1.0, 0), work.commands[0].place)
    assert work.commands == (command,)
    assert (work.keep, work.count, work.reset, work.pulse) == ((1,), (0,), (), (0,))
    timeout = work.timeout
    assert timeout is not None
    assert timeout == Timeout(2500, 4, timeout.place)
    assert [exit_.to for exit_ in work.exits] == [0]
    assert (work.rest, work.stop, work.about, work.never_because, work.mirrored_from) == (
        False,
        None,
        "",
        "",
        "",
    )
    places = (work.place, command.place, timeout.place, work.exits[0].place)
    assert [f"{p.line}:{p.column}" for p in places] == [
        at(text, "work:"), at(text, "{of: angle"), at(text, "{after: 2.5"),
        at(text, "{to: still, when: {event: halt}}"),
    ]  # fmt: skip


def test_rest_stop_reset_and_never() -> None:
    plan = plan_of(phases=PHASES)
    (walk,) = plan.sequences
    assert walk.name == "walk"
    assert [(p.name, p.rest, p.stop) for p in walk.phases] == [
        ("still", True, None), ("work", False, None), ("wait", False, None),
        ("off", False, 0), ("safe", False, 1), ("hold", False, 2),
    ]  # fmt: skip
    wait = phase_of(plan, "wait")
    assert (wait.timeout, wait.never_because, wait.reset) == (None, "a person lifts it", (0,))
    assert phase_of(plan, "still").about == "waits"
    assert phase_of(plan, "still").commands[1].level == Level(None, 1)


def test_setpoints_and_counters_belong_to_the_sequence_that_sets_them() -> None:
    plan = plan_of(phases=PHASES)
    assert [s.owner for s in plan.setpoints] == [0, 0]
    assert [c.owner for c in plan.counters] == [0]
    assert [s.owner for s in plan_of().setpoints] == [None, None]
    assert [c.owner for c in plan_of().counters] == [None]


def test_a_default_timeout_is_for_phases_that_neither_rest_nor_stop_nor_have_their_own() -> None:
    plan = plan_of(phases=PHASES, more="defaults: {timeout: {after: 9 s, to: off}}")
    afters = [p.timeout.after_ms if p.timeout else None for p in plan.sequences[0].phases]
    assert afters == [None, 2500, None, None, None, None]
    plan = plan_of(more="defaults: {timeout: {after: 9 s, to: safe}}")
    assert [p.timeout.after_ms if p.timeout else None for p in plan.sequences[0].phases] == [None, 9000, None]


def test_anywhere_stands_in_document_order() -> None:
    more = "anywhere: [{to: safe, when: {event: halt}}, {to: still, when: {switch: motors}, hold: 1 s}]"
    first, second = plan_of(more=more).anywhere
    assert (first, second.to) == (Anywhere(first.guard, (2,), first.place), (0,))


BAD = [
    ("  a: {rest: true, stop: 1}", "{rest: true, s", "bad-phase"),
    ("  a: {rest: true, keep: lean, set: {lean: 0 deg}}", "{rest: true, k", "bad-phase"),
    ("  a: {rest: true, count: steps, reset: steps}", "steps}", "bad-phase"),
    ("  a: {rest: true, stop: 3}", "3}", "wrong-type"),
    ("  a: {stop: [1]}", "[1]", "wrong-type"),
    ("  a: {stop: true}", "true}", "wrong-type"),
    ("  a: {rest: on}", "on}", "wrong-type"),
    ("  a: {timeout: never}", "{timeout", "missing-key"),
    ("  a: {timeout: {after: 5 s}}", "timeout", "missing-key"),
    ("  a: {timeout: {never: true, after: 5 s, to: a}}", "never", "unknown-key"),
    ("  a: {timeout: {after: 5 s, to: b}}", "b}}", "unknown-name"),
    ("  a: {timeout: {after: 0 s, to: a}}", "0 s", "out-of-span"),
    ("  a: {timeout: {after: 5 deg, to: a}}", "5 deg, to", "bad-unit"),
    ("  a: {set: {lean: 21 deg}}", "21 deg", "out-of-span"),
    ("  a: {set: {bend: {of: lift, plus: 20 mm}}}", "{of: lift", "out-of-span"),
    ("  a: {set: {lean: 1 mm}}", "1 mm", "bad-unit"),
    ("  a: {set: {lean: lift}}", "lift}", "bad-unit"),
    ("  a: {set: {knee: 1 mm}}", "knee: 1", "unknown-name"),
    ("  a: {keep: [knee]}", "knee]", "unknown-name"),
    ("  a: {count: angle}", "angle}", "unknown-name"),
    ("  a: {pulse: lean}", "lean}", "unknown-name"),
    ("  a: {leave: [{to: gone, when: {event: go}}]}", "gone", "unknown-name"),
    ("  a b: {rest: true}", "a b", "bad-name"),
    ("  größe: {rest: true}", "größe", "bad-name"),
    ("  a__b: {rest: true}", "a__b", "bad-name"),
    ("  while: {rest: true}", "while", "reserved-name"),
    ("  uint8_t: {rest: true}", "uint8_t", "reserved-name"),
    ('  "a\\"; system(1); //": {rest: true}', '"a\\"', "bad-name"),
    ('  "a */ b": {rest: true}', '"a */', "bad-name"),
    ('  "a\\nb": {rest: true}', '"a', "bad-name"),
    ("  [key]: {rest: true}", "[key]", "yaml-syntax"),
    ('  "[key]": {rest: true}', '"[key]"', "bad-name"),
]  # fmt: skip


@pytest.mark.parametrize(("phases", "place", "code"), BAD)
def test_one_error_at_its_place(phases: str, place: str, code: str) -> None:
    text = gait(phases=phases)
    before = text.index(phases)
    line, column = spot(text[before:], place).split(":")
    assert told(text) == [f"{int(line) + text[:before].count(chr(10))}:{column} {code}"]


@pytest.mark.parametrize("phases", ["phases: {}\n", ""])
def test_a_gait_without_phases_is_told(phases: str) -> None:
    text = gait()
    assert told(text[: text.index("phases:")] + phases) == ["1:1 missing-key"]


def test_the_default_timeout_cannot_be_never() -> None:
    assert codes(more="defaults: {timeout: never}") == ["missing-key"]


@pytest.mark.parametrize("phases", ["  a: {rest: true}\n", "  a: {leave: [{to: a, when: {event: go}}]}\n"])
def test_the_default_timeout_is_judged_whether_a_phase_takes_it_or_not(phases: str) -> None:
    text = gait(phases=phases, more="defaults: {timeout: {after: 5 s, to: gone}}")
    assert told(text) == [f"{spot(text, 'gone')} unknown-name"]


def test_an_output_that_gives_no_pulse_is_told() -> None:
    text = gait(outputs="    motor: {span: [-1, 1]}", phases="  a: {rest: true, pulse: motor}")
    (finding,) = errors_in(text)
    assert finding.message == "motor is an output, not a pulse"


# sequences


CRAWL = """
gait: crawl
machine:
  tick: 10 ms
  signals:
    <leg>_load: {for_each: {leg: [lf, rf]}, unit: N, span: [0, 50], lost_after: 100 ms}
  events: [go, halt]
  setpoints:
    <leg>_lift: {for_each: {leg: [lf, rf]}, unit: mm, span: [0, 30], start: 0 mm}
sequences:
  <leg>:
    for_each: {leg: [lf, rf], other: [rf, lf]}
    phases:
      down: {rest: true, leave: [{to: up, when: {all: [{sequence: <other>, in: [down]}, {event: go}]}}]}
      up:
        set: {<leg>_lift: 9 mm}
        leave:
          - to: down
            when: {any: [{for_each: {l: [lf, rf]}, signal: <l>_load, below: 2 N}]}
      safe: {stop: 1}
anywhere: [{to: safe, when: {event: halt}}]
"""


def test_for_each_writes_out_signals_setpoints_sequences_and_guards_in_lists() -> None:
    plan = parse_plan(CRAWL)
    assert [s.name for s in plan.signals] == ["lf_load", "rf_load"]
    assert [s.name for s in plan.setpoints] == ["lf_lift", "rf_lift"]
    assert [(s.name, len(s.phases)) for s in plan.sequences] == [("lf", 3), ("rf", 3)]
    assert [s.owner for s in plan.setpoints] == [0, 1]
    assert plan.anywhere[0].to == (2, 2)
    leaves = [plan.leaves[i] for i in plan.guards[plan.sequences[1].phases[1].exits[0].guard].leaves]
    assert [getattr(leaf, "index", None) for leaf in leaves] == [0, 1]
    (look, _) = (plan.leaves[i] for i in plan.guards[plan.sequences[0].phases[0].exits[0].guard].leaves)
    assert (getattr(look, "sequence", None), getattr(look, "phases", None)) == (1, (0,))


def test_what_for_each_writes_equals_what_is_written_by_hand() -> None:
    def by_hand(text: str) -> Plan:
        head, _, rest = text.partition("sequences:\n")
        head = head.replace(
            "    <leg>_load: {for_each: {leg: [lf, rf]}, unit: N, span: [0, 50], lost_after: 100 ms}\n",
            "".join(
                f"    {leg}_load: {{unit: N, span: [0, 50], lost_after: 100 ms}}\n" for leg in ("lf", "rf")
            ),
        ).replace(
            "    <leg>_lift: {for_each: {leg: [lf, rf]}, unit: mm, span: [0, 30], start: 0 mm}\n",
            "".join(f"    {leg}_lift: {{unit: mm, span: [0, 30], start: 0 mm}}\n" for leg in ("lf", "rf")),
        )
        body, _, tail = rest.partition("anywhere")
        body = body.replace("    for_each: {leg: [lf, rf], other: [rf, lf]}\n", "")
        any_of = "{any: [{signal: lf_load, below: 2 N}, {signal: rf_load, below: 2 N}]}"
        body = body.replace("{any: [{for_each: {l: [lf, rf]}, signal: <l>_load, below: 2 N}]}", any_of)
        both = "".join(
            body.replace("<leg>", a).replace("<other>", b) for a, b in (("lf", "rf"), ("rf", "lf"))
        )
        assert "<" not in head + both
        return parse_plan(f"{head}sequences:\n{both}anywhere{tail}")

    assert by_hand(CRAWL).sha == parse_plan(CRAWL).sha


@pytest.mark.parametrize(
    ("old", "new", "place", "code"),
    [
        ("other: [rf, lf]", "other: [rf]", "{leg: [lf, rf], other", "wrong-type"),
        ("other: [rf, lf]", "other: []", "{leg: [lf, rf], other", "missing-key"),
        ("other: [rf, lf]", "other: rf", "rf}\n    phases", "wrong-type"),
        ("other: [rf, lf]", "other: [[rf], lf]", "[[rf], lf]", "wrong-type"),
        ("other: [rf, lf]}", "oter: [rf, lf]}", "<other>", "bad-name"),
        ("{<leg>_lift: 9 mm}", "{lf_lift: 9 mm}", "lf_lift: 9", "two-owners"),
        ("      safe: {stop: 1}\n", "", "safe, when", "unknown-name"),
        ("in: [down]", "in: [dwon]", "dwon", "unknown-name"),
        ("gait: crawl\n", "gait: crawl\nphases: {a: {rest: true}}\n", "sequences:", "bad-phase"),
        ("gait: crawl\n", "gait: crawl\nmirror: {swap: {lf: rf}, phases: {}}\n", "mirror", "bad-mirror"),
    ],
)
def test_one_error_of_sequences_at_its_place(old: str, new: str, place: str, code: str) -> None:
    assert old in CRAWL
    text = CRAWL.replace(old, new)
    assert told(text) == [f"{spot(text, place)} {code}"]


# parts

PARTS = """
parts:
  step:
    takes: [side, far]
    phases:
      up_<side>: {set: {bend: <far>}, leave: [{to: down_<side>, when: {event: go}}]}
      down_<side>: {set: {bend: 0 mm}, about: "of <name>", leave: [{to: <then>, when: {event: go}}]}
"""
USES = """
  still: {rest: true, leave: [{to: one, when: {event: go}}]}
  one: {use: step, with: {side: left, far: 9 mm}, then: two}
  two: {use: step, with: {side: right, far: lift}, then: still}
"""


def test_a_part_is_written_out_where_it_is_used() -> None:
    plan = plan_of(phases=USES, more=PARTS)
    (walk,) = plan.sequences
    assert [(p.name, [walk.phases[e.to].name for e in p.exits]) for p in walk.phases] == [
        ("still", ["up_left"]), ("up_left", ["down_left"]), ("down_left", ["up_right"]),
        ("up_right", ["down_right"]), ("down_right", ["still"]),
    ]  # fmt: skip
    assert [p.commands[0].level for p in walk.phases[1:4]] == [Level(9.0), Level(0.0), Level(None, 1)]
    assert phase_of(plan, "down_left").about == "of one"


@pytest.mark.parametrize(
    ("old", "new", "place", "code"),
    [
        ("use: step, with: {side: left", "use: stp, with: {side: left", "stp", "unknown-name"),
        ("with: {side: left, far: 9 mm}", "with: {side: left}", "{use: step", "missing-key"),
        ("with: {side: left, far: 9 mm}", "with: {side: left, far: 9 mm, fr: 3 mm}", "fr: 3", "unknown-key"),
        ("with: {side: left, far: 9 mm}", "with: {side: left, far: [9 mm]}", "[9 mm]", "wrong-type"),
        ("with: {side: left, far: 9 mm}", "with: 5", "5, then", "wrong-type"),
        (", then: still", "", "{use: step, with: {side: right", "missing-key"),
        ("far: 9 mm}, then: two", "far: 9 mm}, rest: true, then: two", "rest: true, then", "unknown-key"),
        ("with: {side: right", "with: {side: left", "up_<side>", "duplicate-key"),
    ],
)
def test_one_error_of_parts_at_its_place(old: str, new: str, place: str, code: str) -> None:
    assert old in USES
    text = gait(phases=USES.replace(old, new), more=PARTS)
    assert f"{spot(text, place)} {code}" in told(text)
    assert {f.code for f in errors_in(text)} == {code}


def test_a_sequence_that_would_come_up_twice_is_told() -> None:
    text = CRAWL.replace("  <leg>:\n    for_each", "  legs:\n    for_each")
    assert f"{spot(text, 'legs:')} duplicate-key" in told(text)
