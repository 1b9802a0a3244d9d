"""Of every rule exactly one thing is said: proven, refuted with a recording, or only watched, and why."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from support.commands import REPOSITORY

from sequencer.base.example_pair import PAIR
from sequencer.base.findings import Finding
from sequencer.check import Exploring, check
from sequencer.check.explore.search import Bounds
from sequencer.plan import tables as t
from sequencer.plan.build import load_plan, parse_plan

CORPUS = sorted((REPOSITORY / "tests" / "corpus").glob("*/*.gait.yaml"))
EXAMPLES = sorted((REPOSITORY / "examples").glob("*/*.gait.yaml"))
WITH_RULES = [path for path in [*CORPUS, *EXAMPLES] if "rules:" in path.read_text(encoding="utf-8")]
CRAB = REPOSITORY / "examples" / "crab" / "crab.gait.yaml"


def said_of(plan: t.Plan, rule: t.Rule, findings: list[Finding]) -> list[str]:
    texts = [(f.code, text) for f in findings for text in (f.message, *(note for _, note in f.notes))]
    verdicts = {"rule-proven", "rule-watched", "phases-break-rule"}
    return [code for code, text in texts if code in verdicts and f"rule '{rule.name}'" in text]


@pytest.mark.parametrize("path", WITH_RULES, ids=lambda path: path.name.removesuffix(".gait.yaml"))
def test_one_thing_is_said_of_every_rule(path: Path) -> None:
    plan = load_plan(path)
    findings = check(plan)
    if any(f.code == "undecided" for f in findings):
        pytest.fail("a walk of the corpus was left undecided")
    for rule in plan.rules:
        assert len(set(said_of(plan, rule, findings))) == 1, rule.name


def of_code(findings: list[Finding], code: str) -> str:
    return " ".join(" ".join([f.message, *(n for _, n in f.notes)]) for f in findings if f.code == code)


def test_that_only_one_leg_is_in_the_air_is_proven_of_the_crab() -> None:
    told = of_code(check(load_plan(CRAB)), "rule-proven")
    assert all(f"'only {leg} is in the air' is proven" in told for leg in ("lf", "rf", "lh", "rh"))


def without_waiting(plan: t.Plan) -> Iterator[t.Plan]:
    """Let one leg after the other go without looking at the others: all its questions about them are true."""
    for s, sequence in enumerate(plan.sequences):
        leaves = list(plan.leaves)
        for phase in sequence.phases:
            for way in phase.exits:
                for leaf in plan.guards[way.guard].leaves:
                    row = plan.leaves[leaf]
                    if isinstance(row, t.InPhase) and row.sequence != s:
                        every = tuple(range(len(plan.sequences[row.sequence].phases)))
                        leaves[leaf] = replace(row, phases=every)
        yield replace(plan, leaves=tuple(leaves))


def test_a_leg_that_does_not_wait_refutes_it() -> None:
    plan = load_plan(CRAB)
    mutants = list(without_waiting(plan))
    refuted = [bool(of_code(check(mutant), "phases-break-rule")) for mutant in mutants]
    assert len(refuted) == 4
    assert all(refuted)


def test_what_was_not_finished_proves_nothing() -> None:
    findings = check(load_plan(CRAB), Exploring(Bounds(configurations=50)))
    assert "is proven" not in of_code(findings, "rule-proven").replace("whatever the sensors read within", "")
    assert "exploring was not finished" in of_code(findings, "rule-watched")


def test_a_rule_over_phases_that_what_is_measured_can_break_is_only_watched() -> None:
    """A signal in its `must`: no phase alone breaks it, but a reading can."""
    rule = (
        "  - name: level while the front swings\n    while: {sequence: front, in: [swing]}\n"
        "    must: {signal: front_height, above: 3 mm}\n"
    )
    assert "rules:\n" in PAIR
    plan = parse_plan(PAIR.replace("rules:\n", "rules:\n" + rule))
    told = of_code(check(plan), "rule-watched")
    assert "while the machine stands in front.swing" in told
    assert "sensors can read values that break it" in told
