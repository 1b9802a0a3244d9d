"""The hash of a plan's meaning, and the plan as plain data."""

import json
import re

import pytest
from support.commands import REPOSITORY
from support.gaits import gait, plan_of, spot

from sequencer.base.errors import FileErrors
from sequencer.plan.build import load_plan, parse_plan
from sequencer.plan.dump import as_data, meaning_hash

STORK = REPOSITORY / "examples" / "stork" / "stork.gait.yaml"


def test_remarks_order_of_keys_layout_and_places_do_not_change_the_hash() -> None:
    text = gait()
    other = "# a remark\n\n" + text.replace("gait: trial\n", "about: anything\ngait: trial\n")
    other = other.replace(
        "{rest: true, leave: [{to: work, when: {event: go}}]}",
        "{leave: [{when: {event: go}, about: x, to: work}], about: waits, rest: true}",
    )
    assert other.count("about") == 3
    assert parse_plan(other, name="elsewhere").sha == parse_plan(text).sha


def test_the_same_quantity_in_another_unit_does_not_change_the_hash() -> None:
    text = gait()
    assert parse_plan(text.replace("every: 20 ms", "every: 0.02 s")).sha == parse_plan(text).sha


def test_every_number_of_the_gait_counts() -> None:
    text = gait(more="anywhere: [{to: safe, when: {signal: knee, above: 3 mm, release: 2 mm}, hold: 7 ms}]")
    sha = parse_plan(text).sha
    changed = 0
    for match in re.finditer(r"(?<![\w.])-?\d+(?![\w.])", text):
        number = int(match[0])
        other = number - 1 if number > 2 or number == 0 else number + 1
        if text[match.start() - 6 : match.start()] == "stop: ":
            other = 0
        new = text[: match.start()] + str(other) + text[match.end() :]
        try:
            plan = parse_plan(new)
        except FileErrors:  # a start outside its span, for example
            continue
        assert plan.sha != sha, (match[0], text[match.start() - 20 : match.end() + 10])
        changed += 1
    assert changed > 30


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("trial", "trail"),
        ("bend", "bow"),
        ("still", "rest_here"),
        ("[go, halt]", "[halt, go]"),
        ("rest: true, ", ""),
    ],
)
def test_every_name_and_flag_counts(old: str, new: str) -> None:
    assert parse_plan(gait().replace(old, new)).sha != parse_plan(gait()).sha


def test_the_hash_is_the_same_in_every_process() -> None:
    import subprocess
    import sys

    code = f"from sequencer.plan.build import load_plan; print(load_plan({str(STORK)!r}).sha)"
    found = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={"PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout.strip()
        for seed in ("1", "2")
    }
    assert found == {load_plan(STORK).sha}


def test_the_plan_as_data_is_json_and_holds_every_row() -> None:
    plan = load_plan(STORK)
    data = json.loads(json.dumps(as_data(plan), allow_nan=False))
    assert data["version"] == 1
    for table in ("signals", "setpoints", "leaves", "guards", "parameters", "rules", "anywhere"):
        assert len(data[table]) == len(getattr(plan, table))
    assert data["sha"] == meaning_hash(plan)
    line, column = spot(STORK.read_text(encoding="utf-8"), "{event: go}").split(":")
    assert data["leaves"][0]["place"].endswith(f"stork.gait.yaml:{line}:{column}")
    assert {leaf["kind"] for leaf in data["leaves"]} == {"OnEvent", "OnSwitch", "Follow", "Lost", "Compare"}


def test_rows_compare_by_value() -> None:
    assert plan_of() == plan_of()
