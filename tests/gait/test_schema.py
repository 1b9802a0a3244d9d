"""The JSON Schemas against the examples, with the jsonschema package as the judge (draft 2020-12)."""

import json
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from support.commands import REPOSITORY

from sequencer.base import codes_files
from sequencer.gait.nodes import plain_data
from sequencer.gait.reading import parse_tree
from sequencer.gait.schema import json_schema

FILES = sorted(
    path
    for folder in ("examples", "tests/recordings", "tests/corpus")
    for path in (REPOSITORY / folder).rglob("*.yaml")
    if path.name.endswith((".gait.yaml", ".machine.yaml", ".body.yaml"))
)
SOUND = codes_files.CODES[-1].good


def validator(path_or_kind: str) -> Draft202012Validator:
    kind = path_or_kind.removesuffix(".yaml").rpartition(".")[2]
    assert kind in ("machine", "gait", "body")
    return Draft202012Validator(json_schema(kind))


def data_of(text: str) -> Any:
    return plain_data(parse_tree(text, "x")[0])


@pytest.mark.parametrize("kind", ["gait", "machine", "body"])
def test_the_schema_itself_is_sound(kind: str) -> None:
    schema = validator(kind).schema
    Draft202012Validator.check_schema(schema)
    assert isinstance(schema, dict)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_there_are_files_to_try() -> None:
    assert len(FILES) > 5


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(REPOSITORY)))
def test_every_file_that_we_ship_is_valid(path: Path) -> None:
    problems = validator(path.name).iter_errors(data_of(path.read_text(encoding="utf-8")))
    assert [problem.message for problem in problems] == []


PLANTED = [
    ("rest: true", "rest: yes"),
    ("rest: true", "resst: true"),
    ("stop: 1", "stop: 3"),
    ("tick: 10 ms", "tikc: 10 ms"),
    ("{to: down, when: {event: go}}", "{to: down}"),
    ("{to: down, when: {event: go}}", "{to: down, when: {evnt: go}}"),
    ("unit: deg, value: 10, span: [5, 15]", "unit: deg, value: 10"),
    ("span: [5, 15]", "span: [5]"),
    ("timeout: {after: 4 s, to: safe}", "timeout: {after: 4 s}"),
    ("timeout: {after: 4 s, to: safe}", "timeout: sometimes"),
    ("nod: nod_angle", "nod: {of: nod_angle}"),
    ("rate: 10 deg/s", "rate: {of: 10 deg/s}"),
    ("counters: [nods]", "counters: {nods: 0}"),
    ("gait: tortoise_nod", "gate: tortoise_nod"),
]


@pytest.mark.parametrize(("old", "new"), PLANTED)
def test_a_planted_error_is_refused(old: str, new: str) -> None:
    assert old in SOUND
    assert validator("gait").is_valid(data_of(SOUND))
    assert not validator("gait").is_valid(data_of(SOUND.replace(old, new, 1)))


def test_short_forms_are_valid_where_the_loader_takes_them() -> None:
    text = SOUND.replace("    left_tilt: {unit", "    <side>_tilt: {for_each: {side: [left, 1]}, unit")
    text = text.replace("{lost: left_tilt}", "{for_each: {side: [left, 1]}, lost: <side>_tilt}")
    text += "parts: {bow: {takes: [far], phases: {a_<far>: {rest: true}}}}\n"
    text = text.replace("phases:\n", "phases:\n  start: {use: bow, with: {far: one}, then: still}\n", 1)
    assert [problem.message for problem in validator("gait").iter_errors(data_of(text))] == []


@pytest.mark.parametrize("kind", ["machine", "gait", "body"])
def test_the_schema_beside_the_examples_is_the_one_that_the_command_prints(kind: str) -> None:
    printed = json.dumps(validator(kind).schema)
    written = (REPOSITORY / "examples" / f"{kind}.schema.json").read_text(encoding="utf-8")
    assert json.loads(written) == json.loads(printed)


@pytest.mark.parametrize("path", sorted((REPOSITORY / "examples").glob("*/*.yaml")), ids=lambda p: p.name)
def test_every_example_names_its_schema_for_editors(path: Path) -> None:
    first = path.read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("# yaml-language-server: $schema=")
    assert (path.parent / first.partition("$schema=")[2]).exists()
