"""Stops and supplies planted into the stork: motors that let go, and a battery that nobody watches."""

import re
from pathlib import Path

import pytest
from support.commands import copy_of_the_stork

from sequencer.base.findings import Finding, Severity
from sequencer.check import check
from sequencer.plan.build import load_plan

LOW_BATTERY = "  - {to: safe, when: {signal: battery, below: 10 V}, hold: 1 s}"
FEET_DOWN = "    set: {left_bend: 0 mm, right_bend: 0 mm} # both feet down; "
CODES = {"limb-drops", "unpowered-unsaid", "supply-unnoticed"}


def found(
    folder: Path, gait: tuple[str, str] = ("", ""), machine: tuple[str, str] = ("", "")
) -> list[Finding]:
    """What the stork raises of these codes with parts of its files replaced."""
    path = copy_of_the_stork(folder)
    for file, (old, new) in ((path, gait), (path.with_name("stork.machine.yaml"), machine)):
        text = file.read_text(encoding="utf-8")
        assert not old or old in text
        file.write_text(text.replace(old, new) if old else text, encoding="utf-8")
    return [finding for finding in check(load_plan(path)) if finding.code in CODES]


def test_the_stork_itself_raises_none(tmp_path: Path) -> None:
    assert found(tmp_path) == []


def test_cutting_the_power_at_once_drops_the_legs_on_spur_gears_only(tmp_path: Path) -> None:
    (finding,) = found(tmp_path, ("stop: 1", "stop: 0"))
    assert (finding.code, finding.severity) == ("limb-drops", Severity.WARNING)
    assert "safe takes the power from left_knee_motor and right_knee_motor at once" in finding.message
    assert finding.fix.startswith("`stop: 1` and `set: {left_bend: 0 mm, right_bend: 0 mm}`")


def test_a_controlled_stop_must_bring_down_each_of_them(tmp_path: Path) -> None:
    (finding,) = found(tmp_path, (FEET_DOWN, "    set: {left_bend: 0 mm} # one foot down; "))
    assert "from right_knee_motor and leaves what it moves where it stands" in finding.message


def test_a_stop_that_keeps_the_power_drops_nothing(tmp_path: Path) -> None:
    assert found(tmp_path, ("stop: 1", "stop: 2")) == []


@pytest.mark.parametrize("said", ["    holds_unpowered: false # spur gears: without power the leg sinks", ""])
def test_what_is_not_said_is_only_a_note(said: str, tmp_path: Path) -> None:
    findings = found(tmp_path, machine=(said, ""))
    assert {f.code for f in findings} == ({"unpowered-unsaid"} if said else set())
    assert all(f.severity == Severity.NOTE for f in findings)


def test_a_battery_that_nobody_watches_is_told_once(tmp_path: Path) -> None:
    (finding,) = found(tmp_path, (LOW_BATTERY, "  #"))
    assert finding.code == "supply-unnoticed"
    assert "never looks at battery" in finding.message
    assert "- {to: safe, when: {signal: battery, below: 9.9 V}, hold: 500 ms}" in finding.fix


def test_what_the_fix_proposes_silences_it(tmp_path: Path) -> None:
    (finding,) = found(tmp_path, (LOW_BATTERY, "  #"))
    entry = re.search(r"`(- \{.*\})`", finding.fix)
    assert entry is not None
    other = tmp_path / "other"
    other.mkdir()
    assert found(other, (LOW_BATTERY, f"  {entry[1]}")) == []


@pytest.mark.parametrize(("threshold", "count"), [("9.6 V", 1), ("9.7 V", 0), ("9.2 V", 1)])
def test_it_must_be_noticed_before_the_motors_are_cut(threshold: str, count: int, tmp_path: Path) -> None:
    findings = found(tmp_path, ("below: 10 V", f"below: {threshold}"))
    assert len(findings) == count
    assert all(f"only at {threshold}" in f.message for f in findings)
