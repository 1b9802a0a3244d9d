"""A file's errors are told together, each at its place, and none that only follows from another."""

import pytest
from support.gaits import codes, errors_in, gait, leaving, spot, told

from sequencer.base.places import Place

# each line holds slips, marked by what stands in them: (piece of text, its occurrence, code)
SLIPS = """\
gait: tortoise_nod
machine:
  machine: tortoise
  tick: 10 ms
  signals:
    left_tilt: {unit: deg, span: [-30, 30], evry: 20 ms, lost_afer: 100 ms}
    right_tilt: {unit: deg, span: [30, -30], every: 20 mm, lost_after: 100 ms}
  events: [go, halt]
  setpoints:
    nod: {unit: deg, span: [-20, 20], rate: 10 mm/s, start: 0 deg, followed_by: left_tlit}
parameters:
  nod_angle: {unit: deg, value: 10}
counters: [nods, nods]
defaults: {timeout: {after: 5 s, to: sfe}}
phases:
  still:
    rest: yes
    set: {nod: 0 mm}
    leave: [{to: down, when: {evnt: go}}, {to: dwon, when: {event: gp}}]
  down:
    set: {nod: nod_angle, nodd: 3 deg}
    count: nds
    leave:
      - {to: still, when: {at_target: nod, tolerance: 2 foo}, hold: 3 samples}
      - to: stil
        when: {all: [{signal: lft_tilt, abov: 3 deg}, {event: haltt}, {counter: nods, above: 2, below: 3}]}
    timeout: {after: 4.5 foo, to: safe}
  up:
    leave: [{to: still, when: {lost: left_tilt}}]
  safe:
    stop: 7
    leave: [{too: still, when: {event: go}}]
anywhere:
  - {to: safe, when: {any: [{event: halt}, {lost: left_tilt}]}}
  - {to: safe, when: {event: ~}}
rules:
  - {name: x, must: {signal: right_tilt}, to: saef}
"""
KNEE = "    knee: {unit: mm, span: [0, 60]}"
# what stands at the slip, the code, and what mends it
FOUND = [
    ("evry", "unknown-key", "every"),
    ("lost_afer", "unknown-key", "lost_after"),
    ("[30, -30]", "out-of-span", "[-30, 30]"),
    ("20 mm", "bad-unit", "20 ms"),
    ("10 mm/s", "bad-unit", "10 deg/s"),
    ("left_tlit", "unknown-name", "left_tilt"),
    ("nod_angle: {unit: deg, value: 10}", "missing-key", "nod_angle: {unit: deg, value: 10, span: [5, 15]}"),
    ("nods]", "duplicate-name", "nods_2]"),
    ("sfe", "unknown-name", "safe"),
    ("yes", "wrong-type", "true"),
    ("0 mm}", "bad-unit", "0 deg}"),
    ("evnt", "unknown-key", "event"),
    ("dwon", "unknown-name", "down"),
    ("gp", "unknown-name", "go"),
    ("nodd: 3 deg", "unknown-name", "nod_2: 3 deg"),
    ("nds", "unknown-name", "nods"),
    ("2 foo", "bad-unit", "2 deg"),
    ("stil\n", "unknown-name", "still\n"),
    ("lft_tilt", "unknown-name", "left_tilt"),
    ("abov:", "unknown-key", "above:"),
    ("haltt", "unknown-name", "halt"),
    ("{counter: nods, above: 2, below: 3}", "bad-guard", "{counter: nods, above: 2}"),
    ("4.5 foo", "bad-unit", "4.5 s"),
    ("7", "wrong-type", "1"),
    ("too:", "unknown-key", "to:"),
    ("{event: ~}", "bad-guard", "{event: halt}"),
    ("{signal: right_tilt}", "bad-guard", "{signal: right_tilt, above: 3 deg}"),
    ("saef", "unknown-name", "safe"),
]


def test_all_slips_of_a_file_are_told_at_once_and_nothing_else() -> None:
    assert told(SLIPS) == [f"{spot(SLIPS, what)} {code}" for what, code, _ in FOUND]


def test_with_all_but_one_slip_mended_that_one_is_left() -> None:
    for left, (slip, code, _) in enumerate(FOUND):
        text = SLIPS.replace(
            "parameters:", "    nod_2: {unit: deg, span: [-9, 9], start: 0 deg}\nparameters:"
        )
        for i, (what, _, mended) in enumerate(FOUND):
            text = text if i == left else text.replace(what, mended)
        assert [finding.code for finding in errors_in(text)] == [code], slip


@pytest.mark.parametrize(
    ("wrong", "near"),
    [
        ("stil", "still"),
        ("left_tlit", "left_tilt"),
        ("motor", "motors"),
        ("hlt", "halt"),
        ("steps_", "steps"),
    ],
)
def test_the_nearest_known_name_is_told(wrong: str, near: str) -> None:
    kind = {"still": "to", "left_tilt": "lost", "motors": "switch", "halt": "event", "steps": "counter"}[near]
    if kind == "to":
        text = gait(phases=leaving("{event: halt}").replace("to: still", f"to: {wrong}"))
    elif kind == "counter":
        text = gait(phases=leaving("{counter: stps, above: 3}"))
    else:
        text = gait(phases=leaving(f"{{{kind}: {wrong}}}"))
    (finding,) = errors_in(text)
    assert (finding.code, finding.fix) == ("unknown-name", f"did you mean {near}?")


def test_a_name_of_another_kind_is_said_to_be_one() -> None:
    (finding,) = errors_in(gait(phases=leaving("{event: motors}")))
    assert finding.message == "motors is a switch, not an event"


def test_several_missing_keys_of_a_block_are_one_error() -> None:
    (finding,) = errors_in(gait(parameters="  angle: {about: x}"))
    assert finding.message == "value and span are missing"


@pytest.mark.parametrize(
    ("sections", "code"),
    [
        # what is broken is known all the same, so nothing that uses it is called unknown
        ({"signals": "    left_tilt: {unit: dge, span: [0, 1]}\n    right_tilt: 5\n" + KNEE},
         ["bad-unit", "wrong-type"]),
        ({"parameters": "  angle: {unit: 5, value: 15, span: [8, 20]}",
          "phases": leaving("{signal: left_tilt, above: angle}")}, ["wrong-type"]),
        ({"inputs": "  events: [go, halt]\n  remote: {carries: [halt], lost_after: 5 mm}",
          "phases": leaving("{lost: remote}")}, ["bad-unit"]),
        ({"inputs": "  events: [go, halt]\n  remote: {caries: [halt], lost_after: 5 s}",
          "phases": leaving("{lost: remote}")}, ["unknown-key"]),
        ({"phases": leaving("{signal: body, at_mosst: 3 deg}", "3 samples")}, ["unknown-key"]),
        ({"phases": leaving("{all: [{signal: body, above: 3 foo}]}", "3 samples")}, ["bad-unit"]),
        ({"more": "mirror: {swap: {left: right}, phases: {still: 5, work: other}}",
          "phases": leaving("{event: halt}").replace("to: still", "to: other")}, ["wrong-type"]),
        ({"more": "mirror: {swop: {left: right}, phases: {work: other}}",
          "phases": leaving("{event: halt}").replace("to: still", "to: other")}, ["unknown-key"]),
        ({"setpoints": "    bend: {unit: mm, span: [0, 55], start: 0 mm, followed_by: nee}",
          "phases": leaving("{at_target: bend, tolerance: 3 mm}")}, ["unknown-name"]),
        ({"outputs": "    horn: {pulse: maybe}",
          "phases": leaving("{event: halt}", phase="    pulse: horn\n")}, ["wrong-type"]),
        ({"signals": "    <s>_tilt: {for_each: {s: left}, unit: deg, span: [0, 1]}\n" + KNEE},
         ["wrong-type"]),
    ],
)  # fmt: skip
def test_nothing_is_told_that_only_follows_from_a_slip(sections: dict[str, str], code: list[str]) -> None:
    assert codes(**sections) == code


def test_places_of_errors_in_the_machine_file_are_in_the_machine_file() -> None:
    (finding,) = errors_in(gait().replace("tick: 10 ms", "tick: 10 mm"))
    assert isinstance(finding.place, Place)
    assert (finding.place.line, finding.place.column) == (3, 9)


def test_a_thousand_slips_are_told_in_good_time_without_guessing_for_ever() -> None:
    rows = "".join(f"      - {{to: s{i}, when: {{event: e{i}, xx{i}: 1}}}}\n" for i in range(3000))
    findings = errors_in(gait(phases=f"  still: {{rest: true}}\n  work:\n    leave:\n{rows}"))
    assert len(findings) > 1000
