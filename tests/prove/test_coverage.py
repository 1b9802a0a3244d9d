"""The traces of a proof take the branches of the generated code that can be taken, or a reason is given."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from support.commands import REPOSITORY, STORK, call
from support.feature_plans import feature_plans
from support.prove import plant

from sequencer.base.errors import ToolError
from sequencer.plan.build import load_plan
from sequencer.prove.coverage import Covered, cover
from sequencer.prove.inputs import first_ticks, followed, random_traces, recorded

# What the gait itself rules out: a piece of the line, how many branches at most, and why. Of what is left at
# least this share is taken.
STOPS = "motors are off: `anywhere` goes before the guard"
RULED_OUT: dict[str, dict[str, tuple[int, str]]] = {
    "stork": {
        "((s.remote == is_seen) && is_set(in.switches, switch_motors))": (1, STOPS),
    },
    "tortoise": {
        "is_set(in.events, event_go) && is_set(in.switches, switch_motors)": (1, STOPS),
        "else if (guard_10(": (2, "steps are either at least stroll or below it"),
    },
    "crab": {
        "((s.remote == is_seen) && is_set(in.switches, switch_motors))": (1, STOPS),
        "::lower)) && ((is_in(": (36, "the rules that only one leg is in the air: no two ever are"),
        "? RuleState::broken : RuleState::kept": (4, "so these rules are never broken"),
        "== RuleState::broken)": (4, "and their way out is not taken"),
        "? from_below :": (3, "legs are always raised from the ground, so from below"),
        "(way == from_below) ? -e :": (1, "as before"),
    },
}  # fmt: skip
# The tortoise: a leg caught in the last phase of a round of 20. The crab: its legs ask where the
# others stand; some answers cannot be, some need two legs that are late in the very same tick.
LEAST_SHARE = {"stork": 1.0, "tortoise": 0.99, "crab": 0.93}
TICKS = {"stork": 3000, "tortoise": 6000, "crab": 3000}  # long enough to walk round
RANDOM = 40


def covered(name: str) -> tuple[Covered, ...]:
    gait = REPOSITORY / "examples" / name / f"{name}.gait.yaml"
    plan = load_plan(gait)
    traces = [recorded(str(path), plan) for path in sorted(gait.parent.glob("recordings/*.csv"))]
    return cover(plan, [*traces, followed(plan, TICKS[name]), *random_traces(plan, RANDOM, TICKS[name])])


@pytest.mark.parametrize("name", RULED_OUT)
def test_the_branches_that_can_be_taken_are(name: str, print_table: Callable[[str], None]) -> None:
    files = covered(name)
    ruled_out, left = 0, []
    for file in files:
        for missed in file.open:
            if any(piece in missed.text for piece in RULED_OUT[name]):
                ruled_out += 1
            else:
                left.append(f"{file.file}:{missed.line} {missed.text}")
    taken, branches = sum(f.taken for f in files), sum(f.branches for f in files)
    share = taken / (taken + len(left))
    cannot = branches - taken - len(left)
    print_table(f"{name}: {taken} of {branches} branches taken, {cannot} cannot be; {share:.1%} of the rest")
    assert share >= LEAST_SHARE[name], left
    assert ruled_out <= sum(count for count, _ in RULED_OUT[name].values())


def test_a_branch_that_nothing_takes_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = feature_plans()["holds"]
    traces = list(random_traces(plan, 6, 1500))
    before = cover(plan, traces)
    extra = "void tick(State& s, const Inputs& in) {\n  if (in.now == 77U) {\n    s.stage = 3U;\n  }\n"
    plant(monkeypatch, lambda text: text.replace("void tick(State& s, const Inputs& in) {\n", extra))
    after = cover(plan, traces)
    assert after[0].branches == before[0].branches + 2
    assert [m.text for m in after[0].open if m not in before[0].open] != []
    assert "if (in.now == 77U) {" in [m.text for m in after[0].open]


def test_little_is_taken_by_a_machine_that_stands() -> None:
    plan = load_plan(STORK)
    files = cover(plan, [first_ticks(followed(plan, 90), 90)])
    assert all(f.share < 0.7 for f in files)


def test_what_all_gaits_rule_out_is_told_with_its_reason() -> None:
    plan = feature_plans()["counters_and_pulses"]
    (file,) = cover(plan, list(random_traces(plan, 6, 2000)))
    reasons = {m.text: m.reason for m in file.missed}
    assert reasons["if (s.counter[counter_steps] < 0xFFFFU) {"] == "a counter stands still at 65,535"
    assert reasons["if (s.stage == 0U) {"] == "only if begin() was forgotten"
    assert reasons["switch (s.phase) {"].startswith("a default for what no phase")


def test_the_command_prints_and_writes_it_for_programs() -> None:
    given = ("prove", STORK, "--on", "host", "--random", "2", "--ticks", "500", "--coverage")
    shown = call(*given)
    assert shown.returncode == 0
    assert re.search(r"stork_stepping_loops\.cpp +\d+ +\d+ +\d+ +\d+ +\d+\.\d %", shown.stdout)
    assert "a counter stands still at 65,535" in shown.stdout
    files = json.loads(call(*given, "--json").stdout)["coverage"]
    assert [f["file"] for f in files] == ["stork_stepping.cpp", "stork_stepping_loops.cpp"]
    assert all(f["taken"] + len(f["missed"]) == f["branches"] for f in files)


def test_without_gcov_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(ToolError) as caught:
        cover(feature_plans()["bare"], [])
    assert "g++" in (caught.value.hint or "")
