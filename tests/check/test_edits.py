"""Edits as changes of a text: made where they are meant, and not a character elsewhere."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.base.findings import Edit
from sequencer.base.places import Place
from sequencer.check.edits import Source, Splice, spliced
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan

HEAD = """\
gait: crab_leg
machine:
  machine: beach_crab
  tick: 10 ms
  signals: {knee: {unit: mm, span: [0, 60], every: 10 ms, lost_after: 100 ms}}
  events: [go, halt]
  setpoints: {bend: {unit: mm, span: [0, 55], rate: 60 mm/s, start: 0 mm, followed_by: knee}}
phases:
  standing: {rest: true, set: {bend: 0 mm}, leave: [{to: lift, when: {event: go}}]}
"""
FLOW = """\
  lift: {set: {bend: 40 mm}, leave: [{to: standing, when: {at_target: bend, tolerance: 3 mm}}]}
"""
BLOCK = """\
  lift:
    set:
      bend: 40 mm
    leave:
      - to: standing
        when:
          at_target: bend
          tolerance: 3 mm
"""


def plan_of(text: str) -> Plan:
    return load_plan("leg.gait.yaml", None, {"leg.gait.yaml": text})


def edited(text: str, *edits: Edit) -> str:
    return spliced(text, list(Source(text).changes(edits).values()))


def hold_at(plan: Plan, value: str) -> Edit:
    return Edit(plan.sequences[0].phases[1].exits[0].place, "hold", value, (1, 3))


def timeout_at(plan: Plan) -> Edit:
    return Edit(
        plan.sequences[0].phases[1].place, "timeout", "{after: 2 s, to: standing}", (0, 2000), at_key=True
    )


def test_a_new_key_stands_behind_the_guard_in_the_style_of_its_block() -> None:
    text = HEAD + FLOW
    assert "tolerance: 3 mm}, hold: 3 samples}]" in edited(text, hold_at(plan_of(text), "3 samples"))
    text = HEAD + BLOCK
    assert edited(text, hold_at(plan_of(text), "3 samples")) == text + "        hold: 3 samples\n"


def test_a_value_that_is_there_is_replaced_and_its_remark_stays() -> None:
    text = HEAD + BLOCK + "        hold: 60 ms   # was 40\n"
    after = edited(text, hold_at(plan_of(text), "7 samples"))
    assert after == text.replace("60 ms   # was 40", "7 samples   # was 40")


def test_a_new_key_of_a_phase_stands_at_its_end_and_not_among_the_remarks_behind_it() -> None:
    text = HEAD + BLOCK + "  # the stop comes next\n\n  safe: {stop: 1}\n"
    after = edited(text, timeout_at(plan_of(text)))
    wanted = "          tolerance: 3 mm\n    timeout: {after: 2 s, to: standing}\n  # the stop comes next\n"
    assert wanted in after


def test_a_text_without_a_last_line_end_keeps_lacking_it() -> None:
    text = (HEAD + BLOCK).rstrip("\n")
    after = edited(text, timeout_at(plan_of(text)))
    assert after == text + "\n    timeout: {after: 2 s, to: standing}"


def test_lines_end_as_in_the_file() -> None:
    text = (HEAD + BLOCK).replace("\n", "\r\n")
    after = edited(text, timeout_at(plan_of(text)), hold_at(plan_of(text), "3 samples"))
    assert "\n" not in after.replace("\r\n", "")
    assert plan_of(after).sequences[0].phases[1].timeout is not None


def test_a_block_text_at_the_end_is_not_torn() -> None:
    text = HEAD + BLOCK + "    about: |\n      It lifts.\n      timeout: none yet\n"
    after = edited(text, timeout_at(plan_of(text)))
    phase = plan_of(after).sequences[0].phases[1]
    assert phase.timeout is not None
    assert phase.about == "It lifts.\ntimeout: none yet\n"


def test_what_is_there_already_is_no_change() -> None:
    text = HEAD + BLOCK + "        hold: 3 samples\n"
    assert Source(text).changes([hold_at(plan_of(text), "3 samples")]) == {}


def test_an_edit_that_points_nowhere_is_not_made() -> None:
    text = HEAD + BLOCK
    for line, column in ((1, 1), (9, 3), (900, 1), (2, 5)):
        edit = Edit(Place("leg.gait.yaml", line, column), "after", "2 s", (0, 2000))
        found = Source(text).changes([edit]).values()
        assert all("after: 2 s" in change.text for change in found)  # line 1: the file's own mapping
    assert Source(text).changes([Edit(Place("x", 900, 1), "after", "2 s", (0, 2000), at_key=True)]) == {}


def test_an_edit_that_would_change_more_than_its_key_is_not_made() -> None:
    text = HEAD + FLOW
    place = plan_of(text).sequences[0].phases[1].exits[0].place
    for value in ("3 samples, to: lift", "3 samples}", "3 samples # end", "[", "a: b"):
        after = edited(text, Edit(place, "hold", value, (1, 3)))
        assert after == text or "# end" in value, value


def test_overlapping_changes_are_refused() -> None:
    with pytest.raises(ValueError, match="overlap"):
        spliced("abcdef", [Splice(1, 4, "x"), Splice(3, 5, "y")])


def test_lines_and_columns_are_those_of_places() -> None:
    source = Source("a: 1\r\nbc: 2\n")
    assert [source.line_and_column(at) for at in (0, 3, 6, 10)] == [(1, 1), (1, 4), (2, 1), (2, 5)]


SPACES = st.sampled_from(["", " ", "  "])
REMARKS = st.sampled_from(["", " # slow in the cold", "  # [odd]: {remark}, 'quoted", " #"])
HOLDS = st.sampled_from(["", "60 ms", "'60 ms'", '"60 ms"', "2 samples"])


@st.composite
def texts(draw: st.DrawFn) -> str:
    """The same small walk, laid out in one of many ways, with remarks, blank lines and odd names."""
    remark = lambda: draw(REMARKS)  # noqa: E731 - short, and drawn anew each time
    hold = draw(HOLDS)
    if draw(st.booleans()):
        gap = draw(SPACES)
        held = f", hold: {hold}" if hold else ""
        way = f"{{{gap}to: standing,{gap} when: {{at_target: bend, tolerance: 3 mm}}{held}{gap}}}"
        if draw(st.booleans()):
            body = f"  lift: {{set: {{bend: 40 mm}}, leave: [{way}]{gap}}}{remark()}\n"
        else:
            body = f"  lift:{remark()}\n    set: {{bend: 40 mm}}{remark()}\n    leave: [{way}]{remark()}\n"
    else:
        indent = draw(st.sampled_from(["", "  "]))
        held = f"\n{indent}      hold: {hold}{remark()}" if hold else ""
        order = draw(st.booleans())
        to, when = "to: standing", "when: {at_target: bend, tolerance: 3 mm}"
        first, second = (to, when) if order else (when, to)
        leave = (
            f"    leave:{remark()}\n{indent}    - {first}{remark()}\n{indent}      {second}{remark()}{held}\n"
        )
        body = f"  lift:{remark()}\n    about: Grüße, 足 🦀{remark()}\n{leave}"
        body += f"    set: {{bend: 40 mm}}{remark()}\n"
    blank = draw(st.sampled_from(["", "\n", "   \n# the end\n"]))
    text = HEAD + body + blank + draw(st.sampled_from(["", "  safe: {stop: 1}\n", "  safe: {stop: 1}"]))
    return text.replace("\n", draw(st.sampled_from(["\n", "\r\n", "\r"])))


@given(texts())
@settings(max_examples=400, deadline=None)
def test_every_character_outside_the_edits_stays_and_the_file_says_what_was_meant(text: str) -> None:
    plan = plan_of(text)
    edits = [hold_at(plan, "9 samples"), timeout_at(plan)]
    changes = Source(text).changes(edits)
    assert set(changes) == set(edits)
    after = spliced(text, list(changes.values()))
    assert _taken_out(after, sorted(changes.values()), text) == text
    done = plan_of(after)
    way = done.guards[done.sequences[0].phases[1].exits[0].guard]
    timeout = done.sequences[0].phases[1].timeout
    assert way.hold is not None and way.hold.samples == 9
    assert timeout is not None and timeout.after_ms == 2000
    assert Source(after).changes([hold_at(done, "9 samples")]) == {}
    remarks = [re.findall(r"#[^\r\n]*", whole) for whole in (text, after)]
    assert remarks[0] == remarks[1]


def _taken_out(after: str, changes: list[Splice], before: str) -> str:
    """Undo the changes by what they say of themselves."""
    moved = 0
    for change in changes:
        at = change.start + moved
        assert after[at : at + len(change.text)] == change.text
        after = after[:at] + before[change.start : change.end] + after[at + len(change.text) :]
    return after


def test_the_property_is_not_idle() -> None:
    """Planted: a change that swallows a character is noticed."""
    text = HEAD + FLOW
    change = Splice(10, 12, "x")
    assert _taken_out(spliced(text, [change]) + "!", [change], text) != text
