"""The SARIF log, held against the schema published with the standard, and against the files it is about."""

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from support.commands import REPOSITORY

from sequencer.base.codes import CODES
from sequencer.base.errors import FileErrors
from sequencer.base.example_walk import LIFT_DONE, LIFT_TIMEOUT, WALK, changed
from sequencer.base.findings import Finding, Severity
from sequencer.base.places import NOWHERE, Place
from sequencer.check import judge
from sequencer.plan.build import load_plan
from sequencer.show.sarif import sarif_document

# source: the schema of SARIF 2.1.0, published by OASIS; see sarif/README.md beside it
SCHEMA = json.loads((Path(__file__).parent / "sarif" / "sarif-2.1.0-rtm.5.json").read_text(encoding="utf-8"))
CHECKER = jsonschema.Draft4Validator(SCHEMA, format_checker=jsonschema.Draft4Validator.FORMAT_CHECKER)
FAULTY = sorted((REPOSITORY / "tests" / "corpus" / "faulty").glob("*.gait.yaml"))
HELD = LIFT_DONE.replace("hold: 3 samples", "hold: 60 ms")


def log_of(text: str, name: str = "crab.gait.yaml") -> dict[str, Any]:
    """The log of a gait given as text, valid or not."""
    texts = {name: text}
    try:
        done = judge(load_plan(name, None, texts))
    except FileErrors as error:
        return valid(sarif_document(error.findings, texts=texts, unreadable=True))
    return valid(sarif_document(done.findings, done.accepted, texts=texts))


def valid(document: str) -> dict[str, Any]:
    log: dict[str, Any] = json.loads(document)
    assert [error.message for error in CHECKER.iter_errors(log)] == []
    return log


def results(log: dict[str, Any]) -> list[dict[str, Any]]:
    (run,) = log["runs"]
    found: list[dict[str, Any]] = run["results"]
    return found


def test_the_schema_itself_refuses_what_is_wrong() -> None:
    jsonschema.Draft4Validator.check_schema(SCHEMA)
    log = log_of(changed((LIFT_DONE, HELD)))
    for spoil in ({"version": "2.0.0"}, {"runs": [{}]}, {"bogus": 1}):
        assert list(CHECKER.iter_errors({**log, **spoil}))
    results(log)[0]["level"] = "fatal"
    assert list(CHECKER.iter_errors(log))


@pytest.mark.parametrize("path", FAULTY, ids=lambda path: path.name.removesuffix(".gait.yaml"))
def test_the_log_of_every_faulty_walk_is_valid_and_tells_the_fault(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    match = re.match(r"# expect: ([a-z-]+) at (\d+)", text)
    assert match
    log = log_of(text, path.name)
    (run,) = log["runs"]
    told = {(r["ruleId"], r["locations"][0]["physicalLocation"]["region"]["startLine"]) for r in results(log)}
    assert (match[1], int(match[2])) in told
    rules = [rule["id"] for rule in run["tool"]["driver"]["rules"]]
    assert all(rules[r["ruleIndex"]] == r["ruleId"] for r in results(log))
    assert all(r["suppressions"] == [] for r in results(log))


def test_every_code_becomes_a_valid_rule_with_its_help() -> None:
    findings = [
        Finding(code, info.severity, Place("a b/ü:1.yaml", 1, 1), "m") for code, info in CODES.items()
    ]
    log = valid(sarif_document(findings))
    rules = {rule["id"]: rule for rule in log["runs"][0]["tool"]["driver"]["rules"]}
    assert set(rules) == set(CODES)
    for code, info in CODES.items():
        assert info.why in rules[code]["help"]["text"]
        assert info.bad.strip() in rules[code]["help"]["markdown"]
        assert rules[code]["defaultConfiguration"]["level"] == info.severity.value
    uris = {r["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] for r in results(log)}
    assert uris == {"a%20b/%C3%BC%3A1.yaml"}  # RFC 3986


def test_columns_count_code_points_and_the_log_says_so() -> None:
    remark = "    about: 足 🦀 Grüße\n"
    text = changed((LIFT_TIMEOUT, "    timeout: {after: 3 s, to: nowhere}\n" + remark))
    log = log_of(text)
    (result,) = results(log)
    region = result["locations"][0]["physicalLocation"]["region"]
    assert log["runs"][0]["columnKind"] == "unicodeCodePoints"
    assert text.splitlines()[region["startLine"] - 1][region["startColumn"] - 1 :].startswith("nowhere")
    assert log["runs"][0]["invocations"] == [{"executionSuccessful": False}]


def applied(text: str, fix: dict[str, Any]) -> str:
    """Make a fix by what the log says alone: section 3.57 of the standard."""
    (change,) = fix["artifactChanges"]
    starts = [0, *(match.end() for match in re.finditer("\n", text))]
    for replacement in change["replacements"]:
        region = replacement["deletedRegion"]
        start = starts[region["startLine"] - 1] + region["startColumn"] - 1
        end = starts[region["endLine"] - 1] + region["endColumn"] - 1
        text = text[:start] + replacement["insertedContent"]["text"] + text[end:]
    return text


@pytest.mark.parametrize("held", [True, False], ids=["replaced", "inserted"])
def test_a_fix_in_the_log_settles_its_finding(held: bool) -> None:
    text = changed((LIFT_DONE, HELD)) if held else changed((LIFT_TIMEOUT, ""))
    code = "hold-on-silence" if held else "endless-wait"
    (result,) = [r for r in results(log_of(text)) if r["ruleId"] == code]
    (fix,) = result["fixes"]
    mended = applied(text, fix)
    assert code not in {r["ruleId"] for r in results(log_of(mended))}
    assert fix["description"]["text"] in result["message"]["text"]


def test_without_the_text_no_fix_is_proposed() -> None:
    text = changed((LIFT_DONE, HELD))
    done = judge(load_plan("crab.gait.yaml", None, {"crab.gait.yaml": text}))
    assert all("fixes" not in r for r in results(valid(sarif_document(done.findings))))


def fingerprints(text: str, name: str = "crab.gait.yaml") -> list[str]:
    return sorted(r["partialFingerprints"]["gaitFinding/v1"] for r in results(log_of(text, name)))


def test_fingerprints_outlast_edits_elsewhere_and_tell_findings_apart() -> None:
    text = changed((LIFT_DONE, HELD), (LIFT_TIMEOUT, ""))
    prints = fingerprints(text)
    assert len(set(prints)) == len(prints) >= 2
    moved = "# a remark\n\n" + text.replace("  lower:\n", "  # another\n  lower:\n    about: it lowers\n")
    assert fingerprints(moved) == prints
    assert fingerprints(text.replace("rate: 60 mm/s", "rate: 61 mm/s")) == prints
    assert set(fingerprints(changed((LIFT_TIMEOUT, "")))) < set(prints)
    assert fingerprints(text, "walks/crab.gait.yaml") == prints
    other = fingerprints(text.replace("hold: 60 ms", "hold: 70 ms"))
    assert len(set(other) & set(prints)) == len(prints) - 1


def test_equal_findings_have_fingerprints_of_their_own() -> None:
    twice = [Finding("dead-end", Severity.ERROR, Place("x.yaml", line, 1), "stuck") for line in (3, 9)]
    log = valid(sarif_document(twice))
    assert len({r["partialFingerprints"]["gaitFinding/v1"] for r in results(log)}) == 2


def test_an_accepted_finding_is_a_suppressed_result_with_its_reason() -> None:
    accept = ", accept: {hold-on-silence: two sensors}}\n"
    text = changed((LIFT_DONE, HELD.replace("}\n", accept)))
    (result,) = [r for r in results(log_of(text)) if r["ruleId"] == "hold-on-silence"]
    (suppression,) = result["suppressions"]
    assert (suppression["kind"], suppression["status"]) == ("inSource", "accepted")
    assert suppression["justification"] == "two sensors"
    region = suppression["location"]["physicalLocation"]["region"]
    assert text.splitlines()[region["startLine"] - 1][region["startColumn"] - 1 :].startswith(
        "hold-on-silence:"
    )


def test_findings_without_a_place_or_a_code_make_a_valid_log() -> None:
    odd = [
        Finding("", Severity.ERROR, NOWHERE, "nothing works", notes=((NOWHERE, "see"),)),
        Finding("no-file", Severity.ERROR, Place("<stdin>", 0, 0), "it is gone"),
        Finding(
            "dead-end",
            Severity.ERROR,
            Place("/walks/a#b?.yaml", 3, 1),
            'a "quoted" \u202e word\n',
            expected="x",
        ),
    ]
    first, second, third = results(valid(sarif_document(odd)))
    assert "locations" not in first
    assert second["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == "%3Cstdin%3E"
    assert (
        third["locations"][0]["physicalLocation"]["artifactLocation"]["uri"] == "file:///walks/a%23b%3F.yaml"
    )


def test_a_log_without_findings_is_valid() -> None:
    log = log_of(WALK)
    assert [r for r in results(log) if r["level"] != "note"] == []
    assert results(valid(sarif_document([]))) == []
