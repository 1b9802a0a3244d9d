"""The page's scripts: typed, linted, small, and the plot library just as its makers published it."""

import json
from pathlib import Path

import pytest
from support.node_tools import (
    PINNED,
    REPOSITORY,
    SCRIPTS,
    compile_scripts,
    in_its_file,
    lint,
    packages,
    page_files,
    page_text,
)

from sequencer.show.report.page import without_comments

VENDOR = REPOSITORY / "templates" / "report" / "vendor" / "uplot"
MOST_BYTES = 60_000


def test_the_compiler_has_no_complaint() -> None:
    assert compile_scripts(*page_files()) == []


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("const planted = runName(5).length;", "Cannot find name 'runName'"),
        ("/** @param {ReportDocument} d */ function planted(d) { return d.titel; } planted;", "titel"),
        ("/** @param {Guard} g */ function planted(g) { return g.phase + 1; } planted;", "possibly 'null'"),
        ("function planted(x) { return x; } planted;", "implicitly has an 'any' type"),
        ("(() => { const planted = 1; })();", "never read"),
        ("/** @type {number} */ let planted = 'text'; planted;", "not assignable to type 'number'"),
    ],
)
def test_a_planted_mistake_of_types_is_found(tmp_path: Path, line: str, complaint: str) -> None:
    path = tmp_path / "planted.js"
    path.write_text(f'"use strict";\n{line}\n')
    found = compile_scripts(*page_files(), path)
    assert any("planted.js(2," in text and complaint in text for text in found), found


def test_the_linter_has_no_complaint() -> None:
    text, begins = page_text()
    assert [in_its_file(complaint, begins) for complaint in lint(text)] == []


FORBIDDEN = {
    "document.body.innerHTML = name;": "innerHTML",
    "document.body['innerHTML'] = name;": "innerHTML",
    "document.body['inner' + 'HTML'] = name;": "pieced together",
    "document.body.outerHTML = name;": "outerHTML",
    "document.body.insertAdjacentHTML('beforeend', name);": "insertAdjacentHTML",
    "document.write(name);": "write",
    "document.createRange().createContextualFragment(name);": "createContextualFragment",
    "document.body.setAttribute('onclick', name);": "no-restricted-syntax",
    "eval(name);": "eval",
    "new Function(name)();": "Function",
    "window.eval(name);": "eval",
    "setTimeout('run()', 1);": "no-implied-eval",
    "fetch(name);": "fetch",
    "window.fetch(name);": "fetch",
    "new XMLHttpRequest();": "XMLHttpRequest",
    "new WebSocket(name);": "WebSocket",
    "new window.WebSocket(name);": "WebSocket",
    "import(name);": "no-restricted-syntax",
    "navigator.sendBeacon(name);": "sendBeacon",
    "new Image().src = name;": "Image",
    "function unused() { return 1; }": "unused",
    "{ const forgotten = 1; }": "forgotten",
    "{ const used = 1; console.log(used); }": "no-console",
    "nobodyKnows();": "nobodyKnows",
    "{ name == 1; }": "eqeqeq",
    "/* eslint-disable */ fetch(name);": "fetch",
    "document.body.innerHTML = name; // eslint-disable-line": "innerHTML",
}


@pytest.mark.parametrize("line", FORBIDDEN)
def test_the_linter_finds_what_must_not_be(line: str) -> None:
    found = lint(f'"use strict";\nconst name = document.title;\n{line}\n')
    assert any(text.startswith("3:") and FORBIDDEN[line] in text for text in found), found


def test_the_linter_lets_plain_code_pass() -> None:
    assert lint('"use strict";\nconst title = document.title;\ndocument.body.textContent = title;\n') == []


def too_many_bytes(sizes: dict[str, int]) -> list[str]:
    total = sum(sizes.values())
    return [f"{total} bytes of scripts: {sizes}"] if total > MOST_BYTES else []


def test_our_own_scripts_are_small_as_they_stand_in_the_page() -> None:
    sizes = {path.name: len(without_comments(path.read_text()).encode()) for path in SCRIPTS.glob("*.js")}
    assert sum(sizes.values()) > 1000
    assert too_many_bytes(sizes) == []


def test_scripts_that_are_too_large_are_found() -> None:
    assert too_many_bytes({"a.js": 30_000, "b.js": 30_001}) != []
    assert too_many_bytes({"a.js": 30_000, "b.js": 30_000}) == []


def differing(ours: Path, published: Path) -> list[str]:
    """Names of our files that are not what was published, to the byte."""
    return [
        path.name
        for path in sorted(ours.iterdir())
        if not any(
            (published / folder / path.name).is_file()
            and (published / folder / path.name).read_bytes() == path.read_bytes()
            for folder in (".", "dist")
        )
    ]


def test_the_plot_library_is_what_its_makers_published() -> None:
    published = packages() / "uplot"
    names = {path.name for path in VENDOR.iterdir()}
    assert {"uPlot.iife.min.js", "uPlot.min.css", "LICENSE"} <= names
    assert differing(VENDOR, published) == []
    version = json.loads((published / "package.json").read_text())["version"]
    pinned = json.loads((PINNED / "package.json").read_text())["devDependencies"]["uplot"]
    assert version == pinned
    assert f"(v{version})" in (VENDOR / "uPlot.iife.min.js").read_text(encoding="utf-8")[:100]
    assert "Permission is hereby granted, free of charge" in (VENDOR / "LICENSE").read_text()


def test_a_changed_byte_and_a_foreign_file_in_the_library_are_found(tmp_path: Path) -> None:
    for path in VENDOR.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "uPlot.min.css").write_bytes((VENDOR / "uPlot.min.css").read_bytes() + b" ")
    (tmp_path / "extra.js").write_text("1;")
    assert differing(tmp_path, packages() / "uplot") == ["extra.js", "uPlot.min.css"]
