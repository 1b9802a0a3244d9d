"""What a file accepts, where it says so, and what becomes of acceptances that are no good."""

from pathlib import Path

import pytest

from sequencer.base.codes import CODES
from sequencer.base.codes_accept import CODES as ABOUT_ACCEPTING
from sequencer.base.errors import FileErrors
from sequencer.base.example_walk import LIFT_DONE, LIFT_TIMEOUT, WALK, changed
from sequencer.base.findings import Severity
from sequencer.check import Judged, check, judge
from sequencer.plan.build import load_plan, parse_plan

HELD = LIFT_DONE.replace("hold: 3 samples", "hold: 60 ms")
SILENT = "hold-on-silence: the knee has two sensors"


def judged(text: str) -> Judged:
    return judge(parse_plan(text))


def told(text: str) -> list[tuple[str, int]]:
    return [(f.code, f.place.line) for f in judged(text).findings if f.severity != Severity.NOTE]


def held(accept: str) -> str:
    return changed((LIFT_DONE, HELD.replace("}\n", f", accept: {{{accept}}}}}\n")))


def test_an_accepted_finding_is_told_apart_with_its_reason() -> None:
    text = held(SILENT)
    done = judged(text)
    assert told(text) == []
    (accepted,) = done.accepted
    assert (accepted.finding.code, accepted.because) == ("hold-on-silence", "the knee has two sensors")
    line = text.splitlines()[accepted.place.line - 1]
    assert line[accepted.place.column - 1 :].startswith("hold-on-silence:")
    assert check(parse_plan(text)) == done.findings


def test_an_acceptance_changes_nothing_of_the_meaning() -> None:
    assert parse_plan(held(SILENT)).sha == parse_plan(changed((LIFT_DONE, HELD))).sha


def test_an_acceptance_holds_for_its_own_block_and_not_for_those_inside() -> None:
    accept = f"    accept: {{{SILENT}}}\n"
    outside = changed((LIFT_DONE, HELD), (LIFT_TIMEOUT, LIFT_TIMEOUT + accept))
    assert {code for code, _ in told(outside)} == {"hold-on-silence", "stale-acceptance"}
    (stale,) = [f for f in judged(outside).findings if f.code == "stale-acceptance"]
    wrong = next(f for f in judged(outside).findings if f.code == "hold-on-silence")
    assert stale.fix == f"put it into the block in line {wrong.place.line}, which hold-on-silence is about"


def test_a_phase_a_timeout_within_it_and_the_first_of_all_phases_can_accept() -> None:
    short = LIFT_TIMEOUT.replace("3 s", "650 ms")
    accept = "    accept: {short-timeout: 'never trimmed, and never started half way'}\n"
    assert told(changed((LIFT_TIMEOUT, short + accept))) == []
    first = WALK.replace(
        "  standing:\n    rest: true\n", "  standing:\n    accept: {walks-at-power-on: it stands}\n"
    )
    assert first != WALK
    assert "walks-at-power-on" not in {code for code, _ in told(first)}
    assert [a.finding.code for a in judged(first).accepted] == ["walks-at-power-on"]


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (("anywhere:\n", "anywhere:\n"), "hold-under-sample"),
        (("  events:", "  events:"), "unused-input"),
    ],
)
def test_an_acceptance_for_what_is_not_found_is_stale(change: tuple[str, str], code: str) -> None:
    text = WALK.replace("phases:\n", f"accept: {{{code}: nobody knows why}}\nphases:\n", 1)
    assert told(text) == [("stale-acceptance", text[: text.index("accept:")].count("\n") + 1)]


def test_the_file_itself_accepts_what_has_no_block_of_its_own() -> None:
    text = WALK.replace("phases:\n", "counters: [steps]\naccept: {unused-counter: for later}\nphases:\n", 1)
    assert told(text) == []
    assert [a.finding.code for a in judged(text).accepted] == ["unused-counter"]


def test_a_machine_accepts_beside_its_signal_and_its_remote() -> None:
    knee = "    knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}\n"
    short = knee.replace("every: 10 ms", "every: 20 ms").replace("100 ms", "15 ms")
    assert ("lost-between-samples", 6) in told(changed((knee, short)))
    because = ", accept: {lost-between-samples: it comes in bursts}}\n"
    done = judged(changed((knee, short.replace("}\n", because))))
    assert [a.finding.code for a in done.accepted] == ["lost-between-samples"]


def test_anywhere_and_rules_accept_too() -> None:
    text = WALK + "rules:\n  - name: the knee is a knee\n    must: {signal: knee, at_least: 0 mm}\n"
    found = {f.code for f in judged(text).findings if f.severity != Severity.NOTE}
    assert len(found) == 1
    (code,) = found
    assert told(text + f"    accept: {{{code}: kept as a reminder}}\n") == []
    entry = "  - {to: safe, when: {signal: tilt, above: 30 deg}, hold: 5 ms%s}\n"
    text = WALK.rstrip("\n") + "\n" + entry
    assert ("hold-under-sample" in {c for c, _ in told(text % "")}) is True
    accept = ", accept: {hold-under-sample: a knock counts at once, idle-part: x}"
    assert "hold-under-sample" not in {c for c, _ in told(text % accept)}


LEGS = """\
gait: legs
machine:
  machine: beach_crab
  tick: 10 ms
  signals:
    <leg>_knee: {for_each: {leg: [lf, rf]}, unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}
  events: [go, halt]
  setpoints:
    <leg>_bend:
      for_each: {leg: [lf, rf]}
      unit: mm
      span: [0, 55]
      rate: 60 mm/s
      start: 0 mm
      followed_by: <leg>_knee
sequences:
  <leg>:
    for_each: {leg: [lf, rf]}
    phases:
      down: {rest: true, set: {<leg>_bend: 0 mm}, leave: [{to: up, when: {event: go}}]}
      up:
        set: {<leg>_bend: 40 mm}
        leave:
          - to: down
            when: {at_target: <leg>_bend, tolerance: 3 mm}
            hold: 60 ms
            accept: {hold-on-silence: both knees have two sensors}
        timeout: {after: 3 s, to: safe}
      safe: {stop: 1, set: {<leg>_bend: 0 mm}, leave: [{to: down, when: {event: go}}]}
anywhere: [{to: safe, when: {event: halt}}]
"""


def test_an_acceptance_that_for_each_repeats_is_one() -> None:
    done = judged(LEGS)
    assert [f.code for f in done.findings if f.severity == Severity.WARNING] == []
    assert [a.finding.code for a in done.accepted] == ["hold-on-silence"]
    stale = judged(LEGS.replace("hold: 60 ms", "hold: 3 samples"))
    assert [f.code for f in stale.findings if f.severity == Severity.WARNING] == ["stale-acceptance"]


PARTS = """\
parts:
  lift_and_lower:
    phases:
      <name>_up:
        set: {bend: 40 mm}
        leave: [{to: <then>, when: {at_target: bend, tolerance: 3 mm}, hold: 60 ms, ACCEPT}]
        timeout: {after: 3 s, to: safe}
phases:
"""


def test_an_acceptance_in_a_part_holds_wherever_the_part_is_used() -> None:
    lift = WALK[WALK.index("  lift:\n") : WALK.index("  lower:\n")]
    parts = PARTS.replace("ACCEPT", f"accept: {{{SILENT}}}")
    text = WALK.replace(lift, "  lift: {use: lift_and_lower, then: lower}\n").replace("phases:\n", parts, 1)
    assert told(text) == []
    assert [a.finding.code for a in judged(text).accepted] == ["hold-on-silence"]


def test_a_mirror_image_is_accepted_with_its_original() -> None:
    corpus = Path(__file__).resolve().parents[1] / "corpus" / "faulty" / "hold-on-silence-2.gait.yaml"
    text = corpus.read_text(encoding="utf-8").replace(
        "hold: 120 ms}", f"hold: 120 ms, accept: {{{SILENT}}}}}"
    )
    assert told(text) == []
    assert len(judged(text).accepted) == 1


def test_without_a_reason_nothing_is_accepted() -> None:
    for reason in ("''", "' '", ""):
        assert {c for c, _ in told(held(f"hold-on-silence: {reason}"))} == {
            "hold-on-silence",
            "acceptance-without-reason",
        }


@pytest.mark.parametrize("code", ["hold-on-silense", "bad-unit", *(info.code for info in ABOUT_ACCEPTING)])
def test_what_cannot_be_accepted_is_told(code: str) -> None:
    text = held(f"{code}: so be it")
    (finding,) = [f for f in judged(text).findings if f.code == "unknown-acceptance"]
    assert code in finding.message
    assert ("can't" in finding.message) == (code in CODES)
    if code == "hold-on-silense":
        assert finding.fix == "did you mean hold-on-silence?"


def test_a_comma_in_a_reason_is_explained() -> None:
    text = held("hold-on-silence: two sensors, on two wires")
    (finding,) = [f for f in judged(text).findings if f.severity != Severity.NOTE]
    assert (finding.code, finding.fix) == (
        "unknown-acceptance",
        "put quotes around a reason with a comma in it",
    )


def test_an_error_that_keeps_a_file_from_being_read_cannot_be_accepted() -> None:
    text = held("bad-unit: we measure in thumbs").replace("tolerance: 3 mm", "tolerance: 3 deg")
    with pytest.raises(FileErrors) as caught:
        parse_plan(text)
    assert [f.code for f in caught.value.findings] == ["bad-unit"]


@pytest.mark.parametrize(
    "wrong", ["[hold-on-silence]", "hold-on-silence", "{hold-on-silence: 3}", "{x: [a]}"]
)
def test_an_accept_of_the_wrong_kind_is_an_error_at_its_place(wrong: str) -> None:
    text = changed((LIFT_TIMEOUT, LIFT_TIMEOUT + f"    accept: {wrong}\n"))
    with pytest.raises(FileErrors) as caught:
        parse_plan(text)
    (finding,) = caught.value.findings
    assert finding.code == "wrong-type"
    assert finding.place.line == text[: text.index("accept:")].count("\n") + 1
    assert "accept: {CODE: why" in finding.expected


def test_in_a_machine_file_an_idle_acceptance_is_a_note_as_other_walks_use_it(tmp_path: Path) -> None:
    start, end = WALK.index("machine:\n"), WALK.index("phases:\n")
    machine = "\n".join(line.removeprefix("  ") for line in WALK[start:end].splitlines()[1:]) + "\n"
    knee = "lost_after: 100 ms}"
    machine = machine.replace(knee, "lost_after: 100 ms, accept: {unused-input: the arm looks at it}}", 1)
    (tmp_path / "crab.machine.yaml").write_text(machine, encoding="utf-8")
    gait = tmp_path / "crab.gait.yaml"
    gait.write_text(WALK[:start] + "machine: crab.machine.yaml\n" + WALK[end:], encoding="utf-8")
    (finding,) = [f for f in check(load_plan(gait)) if f.code == "stale-acceptance"]
    assert finding.severity == Severity.NOTE
    assert "another walk" in finding.fix
