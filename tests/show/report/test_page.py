"""The page around a document: one file that runs nothing but its own scripts, whatever stands in it."""

import base64
import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from support.commands import STORK

import sequencer
from sequencer.base.errors import MisuseError
from sequencer.history.run import Run
from sequencer.show.report.build import made_from, report_bytes
from sequencer.show.report.page import MARK
from sequencer.show.report.recorded import RunSource

STUCK = STORK.parent / "recordings" / "foot_stuck.csv"
EVIL = (
    "<script>alert(1)</script>",
    "</script><script>alert(2)</script>",
    "<!--<script>",
    "<img src=x onerror=alert(3)>",
    "\"'><svg onload=alert(4)>",
    "\u202eneddih",
    "two\nlines\u2028three",
    "{{ 7 * 7 }}",
)


@dataclass
class Element:
    """One element whose text a browser does not read as markup, and its attributes."""

    name: str
    attributes: dict[str, str | None]
    text: str = ""
    closed: bool = False


@dataclass
class Read(HTMLParser):
    """What the standard library's parser makes of a page."""

    elements: list[Element] = field(default_factory=list)
    handlers: list[str] = field(default_factory=list)
    policies: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handlers += [f"{tag} {name}" for name, _ in attrs if name.startswith("on")]
        self.elements.append(Element(tag, dict(attrs)))
        if tag == "meta" and dict(attrs).get("http-equiv") == "Content-Security-Policy":
            self.policies.append(str(dict(attrs)["content"]))

    def handle_data(self, data: str) -> None:
        if self.elements and not self.elements[-1].closed:
            self.elements[-1].text += data

    def handle_endtag(self, tag: str) -> None:
        if self.elements and self.elements[-1].name == tag:
            self.elements[-1].closed = True

    def named(self, name: str) -> list[Element]:
        return [element for element in self.elements if element.name == name]


def read(page: bytes) -> Read:
    parser = Read()
    parser.feed(page.decode())
    parser.close()
    return parser


def document_in(page: bytes) -> dict[str, Any]:
    (element,) = [e for e in read(page).named("script") if e.attributes.get("id") == "document"]
    return dict(json.loads(element.text))


@pytest.fixture(scope="module")
def run() -> Run:
    return sequencer.load(STORK).dry_run(STUCK, executor="reference")


@pytest.fixture(scope="module")
def make(run: Run) -> Callable[..., bytes]:
    def made(name: str = "walk.csv", notes: tuple[str, ...] = ()) -> bytes:
        return report_bytes(run.plan, [RunSource(name, run, figures=made_from(run.plan, None))], [], notes)

    return made


def test_the_policy_names_just_the_script_and_the_styles_that_are_there(make: Callable[..., bytes]) -> None:
    # W3C Content Security Policy Level 3: 'sha256-' and the base64 of the SHA-256 of the element's text
    page = read(make())
    (policy,) = page.policies
    directives = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    for element, directive in (("script", "script-src"), ("style", "style-src")):
        inline = [e for e in page.named(element) if e.attributes.get("type") != "application/json"]
        hashes = [hashlib.sha256(e.text.encode()).digest() for e in inline]
        allowed = " ".join(f"'sha256-{base64.b64encode(h).decode()}'" for h in hashes)
        assert directives[directive] == allowed
    assert directives["default-src"] == "'none'"
    assert directives["base-uri"] == "'none'"
    assert directives["form-action"] == "'none'"


def test_nothing_is_fetched_from_anywhere(make: Callable[..., bytes]) -> None:
    page = read(make())
    for element in page.elements:
        for attribute in ("src", "href", "action", "xlink:href"):
            value = element.attributes.get(attribute) or "#"
            assert value.startswith(("#", "data:")), (element.name, value)
    assert not page.handlers


@pytest.mark.parametrize("evil", EVIL)
def test_no_text_becomes_markup(make: Callable[..., bytes], evil: str) -> None:
    plain, page = read(make()), make(f"{evil}.csv", (evil,))
    found = read(page)
    assert [e.name for e in found.elements].count("script") == len(plain.named("script"))
    assert len(found.named("img")) == len(plain.named("img"))
    assert not found.handlers
    assert evil not in page.decode() or evil == "{{ 7 * 7 }}"
    document = document_in(page)
    assert "\u202e" not in json.dumps(document, ensure_ascii=False)
    if "\n" not in evil and "\u202e" not in evil:
        assert document["notes"] == [evil]  # it is shown as it was written
    if "{{" in evil:
        assert "49" not in found.named("title")[0].text


def test_a_page_that_lets_a_note_through_would_be_seen(make: Callable[..., bytes]) -> None:
    page = make(notes=("a plain note",)).replace(b"a plain note", b"<script>alert(1)</script>", 1)
    assert len(read(page).named("script")) == len(read(make()).named("script")) + 1


def test_texts_of_the_gait_become_no_markup(tmp_path: Path) -> None:
    about = f"about: {json.dumps(''.join(EVIL[:5]))}"
    text = re.sub("(?m)^about: .*$", lambda _: about, STORK.read_text())
    assert "alert(3)" in text
    for file in STORK.parent.glob("*.yaml"):
        (tmp_path / file.name).write_text(file.read_text())
    path = tmp_path / "evil<script>.gait.yaml"
    path.write_text(text)
    gait = sequencer.load(path)
    gait.report(tmp_path / "page.html", gait.dry_run(duration_s=1, executor="reference"))
    page = read((tmp_path / "page.html").read_bytes())
    assert len(page.named("script")) == 2  # ours, and the document
    assert not page.handlers
    assert not page.named("img")


def test_the_same_run_gives_the_same_page_without_date_or_path(make: Callable[..., bytes]) -> None:
    page = make()
    assert page == make()
    assert str(STORK.parent).encode() not in page
    assert MARK in page[:500]


def test_numbers_that_json_does_not_know_do_not_stand_in_the_document(make: Callable[..., bytes]) -> None:
    def refuse(word: str) -> float:
        raise AssertionError(word)

    (element,) = [e for e in read(make()).named("script") if e.attributes.get("id") == "document"]
    json.loads(element.text, parse_constant=refuse)


def test_the_library_writes_a_page_of_two_recordings(tmp_path: Path, run: Run) -> None:
    gait = sequencer.load(STORK)
    gait.report(tmp_path / "two.html", STUCK, run, notes=["with the new knee"])
    document = document_in((tmp_path / "two.html").read_bytes())
    assert [run["name"] for run in document["runs"]] == ["foot_stuck.csv", "run"]
    assert document["notes"] == ["with the new knee"]
    assert any(figure["name"] == "foot_stuck.csv" for figure in document["runs"][0]["figures"])
    with pytest.raises(MisuseError, match="two"):
        gait.report(tmp_path / "three.html", run, run, run)
