"""What edits can settle is settled: in the faulty walks, and in sound ones with faults planted in them."""

import re
import stat
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.commands import REPOSITORY

from sequencer.base.errors import FileErrors, MisuseError
from sequencer.base.findings import Edit, Finding
from sequencer.base.places import Place
from sequencer.check import check
from sequencer.check.fixing import Fixed, chosen, fix, write
from sequencer.plan.build import load_plan

CORPUS = REPOSITORY / "tests" / "corpus"
FAULTY = sorted((CORPUS / "faulty").glob("*.gait.yaml"))
SOUND = [
    *sorted((CORPUS / "sound").glob("*.gait.yaml")),
    *sorted((REPOSITORY / "examples").glob("*/*.gait.yaml")),
]
MECHANICAL = {
    "hold-on-silence",
    "hold-under-sample",
    "hold-off-tick",
    "hold-outlasts-timeout",
    "lost-between-samples",
    "short-timeout",
    "noise-trips",
    "tolerance-under-noise",
    "chatter",
    "endless-wait",
}
# the first two could be settled if the sequence had a stop phase to time out into; thresholds that overlap
# can only be moved, and so can those which a release keeps true where the joint stands
NOT_BY_EDIT = {"endless-wait-2", "stale-acceptance", "chatter-2", "chatter-3"}


def names(path: Path) -> str:
    return path.name.removesuffix(".gait.yaml")


def left(path: Path, fixed: Fixed) -> list[Finding]:
    return check(load_plan(path, None, dict(fixed.after)))


def again(path: Path, fixed: Fixed) -> Fixed:
    return fix([path], texts=dict(fixed.after))


def planted(path: Path) -> str:
    first = path.read_text(encoding="utf-8").split("\n", 1)[0]
    match = re.fullmatch(r"# expect: ([a-z-]+) at \d+", first)
    assert match
    return match[1]


@pytest.mark.parametrize("path", [p for p in FAULTY if planted(p) in MECHANICAL], ids=names)
def test_a_mechanical_fault_is_settled_and_nothing_new_is_found(path: Path) -> None:
    before = check(load_plan(path))
    fixed = fix([path])
    after = left(path, fixed)
    if names(path) in NOT_BY_EDIT:
        assert fixed.changed == []
        return
    assert planted(path) in {code for code, _ in fixed.settled}
    assert planted(path) not in {f.code for f in after}
    assert {f.code for f in after} <= {f.code for f in before}
    assert again(path, fixed).changed == []


@pytest.mark.parametrize("path", [p for p in FAULTY if planted(p) not in MECHANICAL], ids=names)
def test_no_other_fault_is_touched_by_an_edit(path: Path) -> None:
    fixed = fix([path])
    assert {code for code, _ in fixed.settled} <= MECHANICAL
    assert planted(path) in {f.code for f in left(path, fixed)}


@pytest.mark.parametrize("path", SOUND, ids=names)
def test_nothing_is_changed_in_a_sound_walk(path: Path) -> None:
    notes = {f.code for f in check(load_plan(path)) if f.edits}
    assert notes <= {"hold-off-tick"}
    assert bool(fix([path]).changed) == bool(notes)


# faults planted into the text of sound walks

HOLD = re.compile(r"hold: \d+ (samples|ms)")
TIMEOUT = re.compile(r"(?m)^ *timeout: \{[^}\n]*\}\n")
AFTER = re.compile(r"after: [\d.]+ m?s")
LOST = re.compile(r"lost_after: \d+ ms")
NOISE = re.compile(r"noise: [\d.]+")


# an acceptance of what is settled now; two holds of one phase between which a hold of nothing made no race
REVEALED = {"stale-acceptance", "order-decides"}


def mutants(text: str) -> Iterator[tuple[str, str]]:
    """Change one thing at a time: what it is, and the text."""
    for match in HOLD.finditer(text):
        for hold in ("5 ms", "35 ms", "60 ms", "250 ms", "30 s"):
            yield f"hold {hold}", text[: match.start()] + f"hold: {hold}" + text[match.end() :]
        yield "no hold", text[: match.start()].rstrip(", ") + text[match.end() :]
    for match in TIMEOUT.finditer(text):
        yield "no timeout", text[: match.start()] + text[match.end() :]
    for match in AFTER.finditer(text):
        for after in ("10 ms", "900 ms"):
            yield f"after {after}", text[: match.start()] + f"after: {after}" + text[match.end() :]
    for match in LOST.finditer(text):
        for lost in ("1 ms", "15 ms"):
            yield f"lost {lost}", text[: match.start()] + f"lost_after: {lost}" + text[match.end() :]
    for match in NOISE.finditer(text):
        yield "noise", text[: match.start()] + "noise: 3" + text[match.end() :]


def written(path: Path, folder: Path) -> Iterator[tuple[str, Path, str]]:
    """Write each mutant beside its machine file, under the walk's own name."""
    for machine in path.parent.glob("*.machine.yaml"):
        (folder / machine.name).write_bytes(machine.read_bytes())
    here = folder / path.name
    for what, text in mutants(path.read_text(encoding="utf-8")):
        here.write_text(text, encoding="utf-8")
        yield what, here, text


@pytest.mark.parametrize("path", SOUND, ids=names)
def test_planted_faults_are_settled_in_one_go(
    path: Path, tmp_path: Path, print_table: Callable[[str], None]
) -> None:
    settled, unsettled = Counter[str](), Counter[str]()
    for what, here, text in written(path, tmp_path):
        try:
            before = check(load_plan(here))
        except FileErrors:
            continue  # what can't be loaded can't be settled
        fixed = fix([here])
        after = left(here, fixed)
        assert [f for f in after if f.edits] == [], what
        fresh = {f.code for f in after} - {f.code for f in before}
        assert fresh <= REVEALED, (what, fresh)
        assert again(here, fixed).changed == [], what
        settled.update({code for code, _ in fixed.settled})
        unsettled.update({f.code for f in after} & MECHANICAL)
        if not fixed.changed:
            assert fixed.after[str(next(iter(fixed.after)))] == text
    rows = [f"{code:24} settled {settled[code]:3}, left {unsettled[code]:3}" for code in sorted(MECHANICAL)]
    print_table(f"{names(path)}\n" + "\n".join(rows))
    assert settled.total() >= 1


# which of several edits

HERE = Place("x.gait.yaml", 3, 5)


def test_of_two_edits_of_one_key_the_longer_is_made() -> None:
    short, long = Edit(HERE, "hold", "80 ms", (0, 80)), Edit(HERE, "hold", "2 samples", (1, 2))
    more = Edit(HERE, "hold", "5 samples", (1, 5))
    assert chosen([short, long]) == [long]
    assert chosen([more, short, long, more]) == [more]
    other = Edit(HERE, "after", "2 s", (0, 2000))
    assert chosen([short, other]) == [short, other]


def test_of_two_edits_that_differ_in_more_than_length_none_is_made() -> None:
    left_stop, right_stop = (
        Edit(HERE, "timeout", f"{{after: {s} s, to: {to}}}", (0, 1000 * s), at_key=True)
        for s, to in ((2, "left"), (5, "right"))
    )
    assert chosen([left_stop, right_stop]) == []


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
      for_each: {leg: [lf, rf], rate: [60, 20]}
      unit: mm
      span: [0, 55]
      rate: <rate> mm/s
      start: 0 mm
      followed_by: <leg>_knee
sequences:
  <leg>:
    for_each: {leg: [lf, rf], stop: [lf_safe, rf_safe]}
    phases:
      down: {rest: true, set: {<leg>_bend: 0 mm}, leave: [{to: up, when: {event: go}}]}
      up:
        set: {<leg>_bend: 40 mm}
        leave: [{to: down, when: {at_target: <leg>_bend, tolerance: 3 mm}, hold: 3 samples}]
        TIMEOUT
      <stop>: {stop: 1, set: {<leg>_bend: 0 mm}, leave: [{to: down, when: {event: halt}}]}
"""


def test_what_is_written_once_for_several_legs_gets_the_timeout_of_the_slowest(tmp_path: Path) -> None:
    path = tmp_path / "legs.gait.yaml"
    told = {}
    for rates in ("[60, 20]", "[20, 20]", "[60, 60]"):
        legs = LEGS.replace("[60, 20]", rates)
        path.write_text(legs.replace("TIMEOUT", "timeout: {after: 300 ms, to: <stop>}"))
        (finding,) = [f for f in check(load_plan(path)) if f.code == "short-timeout"]
        (text,) = fix([path]).after.values()
        assert text == legs.replace("TIMEOUT", f"timeout: {{{finding.fix}, to: <stop>}}")
        told[rates] = finding.fix
    assert told["[60, 20]"] == told["[20, 20]"] != told["[60, 60]"]


def test_a_timeout_that_would_need_another_phase_in_every_leg_is_not_made_up(tmp_path: Path) -> None:
    path = tmp_path / "legs.gait.yaml"
    path.write_text(LEGS.replace("        TIMEOUT\n", ""))
    assert {f.code for f in check(load_plan(path))} >= {"endless-wait"}
    assert fix([path]).changed == []


def test_an_edit_with_which_the_file_cannot_be_loaded_is_left_out_and_the_others_are_made(
    tmp_path: Path,
) -> None:
    path = tmp_path / "legs.gait.yaml"
    faulty = LEGS.replace("        TIMEOUT\n", "").replace("hold: 3 samples", "hold: 60 ms")
    path.write_text(faulty.replace("rate: [60, 20]", "rate: [60, 60]"))
    fixed = fix([path])
    assert {code for code, _ in fixed.settled} == {"hold-on-silence"}
    assert "hold: 7 samples" in next(iter(fixed.after.values()))


# writing

CRAB = (CORPUS / "faulty" / "hold-on-silence-1.gait.yaml").read_bytes()


def test_a_file_keeps_its_mark_its_permissions_and_its_link(tmp_path: Path) -> None:
    real, link = tmp_path / "real.yaml", tmp_path / "crab.gait.yaml"
    real.write_bytes(b"\xef\xbb\xbf" + CRAB.replace(b"\n", b"\r\n"))
    real.chmod(0o640)
    link.symlink_to(real)
    assert write(fix([link])) == [real]
    data = real.read_bytes()
    wanted = CRAB.replace(b"80 ms", b"9 samples").replace(b"\n", b"\r\n")
    assert data == b"\xef\xbb\xbf" + wanted
    assert link.is_symlink()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    assert fix([link]).changed == []


def test_a_file_that_changed_meanwhile_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "crab.gait.yaml"
    path.write_bytes(CRAB)
    fixed = fix([path])
    path.write_bytes(CRAB + b"# a remark\n")
    with pytest.raises(MisuseError, match="meanwhile"):
        write(fixed)
    assert path.read_bytes() == CRAB + b"# a remark\n"
    assert list(tmp_path.iterdir()) == [path]


def test_two_walks_of_one_machine_change_its_file_once(tmp_path: Path) -> None:
    for path in (
        REPOSITORY / "examples/stork/stork.gait.yaml",
        REPOSITORY / "examples/stork/stork.machine.yaml",
    ):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    gait, machine = tmp_path / "stork.gait.yaml", tmp_path / "stork.machine.yaml"
    other = tmp_path / "other.gait.yaml"
    other.write_bytes(gait.read_bytes())
    text = machine.read_text(encoding="utf-8")
    assert "lost_after: 100 ms" in text
    machine.write_text(text.replace("lost_after: 100 ms", "lost_after: 3 ms", 1), encoding="utf-8")
    fixed = fix([gait, other])
    assert [Path(name).name for name in fixed.changed] == ["stork.machine.yaml"]
    write(fixed)
    assert [f for f in check(load_plan(gait)) if f.code == "lost-between-samples"] == []
    changed = [
        a
        for a, b in zip(text.split("\n"), machine.read_text(encoding="utf-8").split("\n"), strict=True)
        if a != b
    ]
    assert changed == []  # 100 ms is what the check proposes, too
