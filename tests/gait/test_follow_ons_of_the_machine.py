"""One slip in the machine file is told once, before what the gait says of it."""

from pathlib import Path

import pytest
from support.commands import STORK, call, copy_of_the_stork
from support.gaits import errors_in, gait

from sequencer.base.errors import FileErrors
from sequencer.plan.build import load_plan


@pytest.mark.parametrize(
    ("right", "wrong", "code"),
    [
        ("events: [go, halt]", "events: go halt", "bad-name"),
        ("events: [go, halt]", "events: [go halt]", "bad-name"),
        ("events: [go, halt]", 'events: "go, halt"', "bad-name"),
        ("events: [go, halt]", "events: [Go!, halt]", "bad-name"),
        ("events: [go, halt]", "event: [go, halt]", "unknown-key"),
        ("\nsignals:", "\nsignal:", "unknown-key"),
        ("  body_roll: {unit", "  body-roll: {unit", "bad-name"),
        ("  lean: #", "  lean lean: #", "bad-name"),
    ],
)
def test_what_only_follows_is_not_told(tmp_path: Path, right: str, wrong: str, code: str) -> None:
    path = copy_of_the_stork(tmp_path)
    machine = path.with_name("stork.machine.yaml")
    text = machine.read_text(encoding="utf-8")
    assert text.count(right) == 1
    machine.write_text(text.replace(right, wrong), encoding="utf-8")
    with pytest.raises(FileErrors) as told:
        load_plan(path)
    assert [finding.code for finding in told.value.findings] == [code]


def test_another_name_is_still_unknown(tmp_path: Path) -> None:
    path = copy_of_the_stork(tmp_path)
    machine = path.with_name("stork.machine.yaml")
    text = machine.read_text(encoding="utf-8")
    machine.write_text(text.replace("events: [go, halt]", "events: go stop"), encoding="utf-8")
    with pytest.raises(FileErrors) as told:
        load_plan(path)
    assert {f.code for f in told.value.findings} == {"bad-name", "unknown-name"}
    assert {f.message for f in told.value.findings if f.code == "unknown-name"} == {"there is no event halt"}


def test_the_machine_file_is_told_first(tmp_path: Path) -> None:
    path = copy_of_the_stork(tmp_path)
    path.write_text(STORK.read_text(encoding="utf-8").replace("rest: true", "rest: maybe"), encoding="utf-8")
    machine = path.with_name("stork.machine.yaml")
    text = machine.read_text(encoding="utf-8")
    machine.write_text(text.replace("events: [go, halt]", "events: go halt"), encoding="utf-8")
    heads = [line for line in call("check", path).stdout.splitlines() if "error: " in line]
    assert [head.split(": error")[0].split(":")[0].rpartition("/")[2] for head in heads] == [
        "stork.machine.yaml",
        "stork.gait.yaml",
    ]


def test_a_counter_of_two_legs_says_how_each_gets_its_own() -> None:
    sequence = "phases: {up: {count: steps, leave: [{to: stop, when: {event: go}}]}, stop: {stop: 0}}"
    text = gait().partition("phases:")[0] + f"sequences:\n  lf: {{{sequence}}}\n  rf: {{{sequence}}}\n"
    (finding,) = errors_in(text)
    assert finding.code == "two-owners"
    assert finding.fix == (
        "give each sequence a counter of its own, such as lf_steps and rf_steps; or let only lf count it"
    )
