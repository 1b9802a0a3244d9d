"""What Python writes into a report is what types.d.ts declares, as the TypeScript compiler sees it."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.node_tools import SCRIPTS, compile_scripts
from support.reports import shown

from sequencer.show.report.page import json_text

DECLARED = SCRIPTS / "types.d.ts"


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    text = json_text(shown("foot_stuck.csv", "walk.csv", notes=("a note",)).document)
    read = json.loads(text)
    assert isinstance(read, dict)
    return read


def complaints(folder: Path, *documents: dict[str, Any]) -> dict[int, str]:
    """What the compiler says about documents that are spelled as literals of their type: number -> text."""
    path = folder / "documents.ts"
    texts = (
        f"const shown{i}: ReportDocument = {json.dumps(d)}; shown{i};\n" for i, d in enumerate(documents)
    )
    path.write_text("".join(texts), encoding="utf-8")
    found: dict[int, str] = {}
    number = -1
    for line in compile_scripts(DECLARED, path):
        place = re.search(r"documents\.ts\((\d+),", line)
        number = int(place[1]) - 1 if place else number  # a complaint may go on in further lines
        found[number] = found.get(number, "") + line + "\n"
    return found


def test_a_real_document_is_what_is_declared(tmp_path: Path, document: dict[str, Any]) -> None:
    assert complaints(tmp_path, document) == {}


def test_a_document_of_a_log_is_what_is_declared(tmp_path: Path) -> None:
    from sequencer.show.report.foreign import logs_document

    log = tmp_path / "log.csv"
    log.write_text("time_ms,phase,lean\n0,left,1.5\n20,left,\n45,right,2\n60,right,2.5\n")
    assert complaints(tmp_path, json.loads(json_text(logs_document([str(log)])))) == {}


Where = Callable[[dict[str, Any]], dict[str, Any]]
Plant = Callable[[dict[str, Any]], object]


def drop(name: str) -> Plant:
    return lambda record: record.pop(name)


def put(name: str, value: object) -> Plant:
    return lambda record: record.update({name: value})


PLANTED: list[tuple[Where, Plant, str]] = [
    (lambda d: d, drop("notes"), "notes"),
    (lambda d: d, put("date", "today"), "date"),
    (lambda d: d, put("format", 2), "Type '2' is not assignable to type '1'"),
    (lambda d: d["walk"], drop("sequences"), "sequences"),
    (lambda d: d["walk"]["gait"]["guards"][0], drop("hold_left"), "hold_left"),
    (lambda d: d["walk"]["gait"]["guards"][0]["leaves"][0], put("margins", 1), "margins"),
    (
        lambda d: d["walk"]["gait"]["guards"][0]["place"],
        put("line", None),
        "Type 'null' is not assignable to type 'number'",
    ),
    (lambda d: d["runs"][0], drop("stays"), "stays"),
    (lambda d: d["runs"][0], put("end", None), "Type 'null' is not"),
    (lambda d: d["runs"][0]["columns"][0], put("role", "colour"), "Type '\"colour\"' is not"),
    (lambda d: d["runs"][0]["columns"][0]["pieces"][0], put("type", "f2"), "type"),
    (lambda d: d["runs"][1]["moves"], drop("causes"), "causes"),
    (lambda d: d["runs"][0]["kept"], put("windows", [[0]]), "Type '[number]' is not"),
    (lambda d: d["runs"][0]["moves"]["at"], drop("length"), "length"),
]


def test_planted_differences_are_found(tmp_path: Path, document: dict[str, Any]) -> None:
    small = re.sub(r'"text": "[^"]*"', '"text": ""', json.dumps(document))  # packed numbers are long
    planted = []
    for where, plant, _ in PLANTED:
        planted.append(json.loads(small))
        plant(where(planted[-1]))
    found = complaints(tmp_path, *planted)
    for number, (_, _, complaint) in enumerate(PLANTED):
        assert complaint in found.get(number, ""), (number, found.get(number))
