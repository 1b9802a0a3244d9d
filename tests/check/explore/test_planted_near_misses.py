"""Faults planted into sound walks that come close to them: each is found, with its code, and nothing else."""

from collections.abc import Iterator

import pytest
from support.commands import REPOSITORY

from sequencer.base.findings import Severity
from sequencer.check import Exploring, check
from sequencer.plan.build import parse_plan

SOUND = REPOSITORY / "tests/corpus/sound"
Edit = tuple[str, str]

COUNTED = "{counter: steps, at_least: 3}", "{counter: steps, below: 3}"
HOME = "        reset: steps\n        set: {hind_lift: 0 mm}\n"
FOLDED = "{sequence: front, in: [begun, down, safe]}"
BOW = "{counter: steps, at_least: 2}"
BOW_RESETS = "        reset: steps\n        set: {hind_lift: 20 mm}"
READY = "        rest: true\n        set: {hind_lift: 0 mm}\n        leave:\n          - to: swing"


def planted() -> Iterator[tuple[str, str, tuple[Edit, ...]]]:
    """Yield code, walk and edits."""
    unset = HOME.replace("        reset: steps\n", "")
    for count in (2, 3, 4, 5):
        # at home nothing resets the count, and home is asked for below it
        low = (COUNTED[0], "<home>"), (COUNTED[1], f"{{counter: steps, at_least: {count}}}")
        last = ("<home>", f"{{counter: steps, below: {count}}}")
        yield "no-rest-together", "two-feet-counted", (*low, last, (HOME, unset))
    yield "no-rest-together", "two-feet-folded", ((FOLDED, "{sequence: front, in: [begun]}"),)
    for count in (2, 3, 4):
        # the count begins anew before each step, or never comes so far
        reset = READY.replace("rest: true\n", "rest: true\n        reset: steps\n")
        asks = BOW, f"{{counter: steps, at_least: {count}}}"
        yield "never-entered", "two-legs-counted", ((READY, reset), asks, (BOW_RESETS, BOW_RESETS[21:]))
    for phase in ("swing", "landing"):
        asks = BOW, f"{{sequence: front, in: [{phase}]}}"
        yield "never-entered", "two-legs-counted", (asks,)
    for few, many in ((300, 70), (70, 300), (150, 160)):
        edits = ("value: 30", f"value: {few}"), ("value: 40", f"value: {many}")
        yield "not-finished", "crab-two-counts", edits
    for asked in ("{sequence: front, in: [stance]}", "{sequence: mid, in: [stance]}"):
        hind = "{switch: walk}, {signal: hind_load", f"{{switch: walk}}, {asked}, {{signal: hind_load"
        yield "leave-together", "crab-row-of-three", (hind,)


@pytest.mark.parametrize(("code", "walk", "edits"), list(planted()))
def test_a_fault_planted_into_a_near_miss_is_found(code: str, walk: str, edits: tuple[Edit, ...]) -> None:
    text = (SOUND / f"{walk}.gait.yaml").read_text(encoding="utf-8")
    assert not any(f.severity != Severity.NOTE or f.code == code for f in check(parse_plan(text)))
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    exploring = Exploring()
    found = {
        f.code for f in check(parse_plan(text), exploring) if f.severity != Severity.NOTE or f.code == code
    }
    assert found == {code}
    assert {c.finding.code for c in exploring.counterexamples} == {code} - {"not-finished"}
