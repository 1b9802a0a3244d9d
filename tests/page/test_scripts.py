"""The page's scripts: typed, linted, small, and the plot library just as its makers published it."""

import json
from pathlib import Path

import pytest
from support.node_tools import (
    PINNED,
    REPOSITORY,
    compile_scripts,
    in_its_file,
    lint,
    packages,
    page_files,
    page_text,
    run_node,
)

from sequencer.generate.render import templates_root
from sequencer.show.report.page import own_text, scripts_text, without_comments

VENDOR = REPOSITORY / "templates" / "report" / "vendor" / "uplot"
MOST_BYTES = 60_000


def test_the_compiler_has_no_complaint() -> None:
    assert compile_scripts(*page_files()) == []


MISTAKES = {
    "const planted1 = runName(5).length;": "Cannot find name 'runName'",
    "/** @param {ReportDocument} d */ function planted2(d) { return d.titel; } planted2;": "titel",
    "/** @param {Guard} g */ function planted3(g) { return g.phase + 1; } planted3;": "possibly 'null'",
    "function planted4(x) { return x; } planted4;": "implicitly has an 'any' type",
    "(() => { const planted5 = 1; })();": "never read",
    "/** @type {number} */ let planted6 = 'text'; planted6;": "not assignable to type 'number'",
}


def test_planted_mistakes_of_types_are_found(tmp_path: Path) -> None:
    path = tmp_path / "planted.js"
    path.write_text("\n".join(MISTAKES) + "\n")
    found = compile_scripts(*page_files(), path)
    for number, complaint in enumerate(MISTAKES.values(), 1):
        assert any(f"planted.js({number}," in text and complaint in text for text in found), found


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


@pytest.fixture(scope="module")
def complaints() -> list[str]:
    """What the linter says about a text with one of these in each line, from line 3 on."""
    return lint("\n".join(['"use strict";', "const name = document.title;", *FORBIDDEN]) + "\n")


@pytest.mark.parametrize(("number", "line"), list(enumerate(FORBIDDEN, 3)))
def test_the_linter_finds_what_must_not_be(complaints: list[str], number: int, line: str) -> None:
    own = [text for text in complaints if text.startswith(f"{number}:")]
    assert any(FORBIDDEN[line] in text for text in own), (line, own)


def test_the_linter_lets_plain_code_pass() -> None:
    assert lint('"use strict";\nconst title = document.title;\ndocument.body.textContent = title;\n') == []


def too_many_bytes(script: str) -> list[str]:
    size = len(script.encode())
    return [f"{size} bytes of our own scripts"] if size > MOST_BYTES else []


def carried() -> str:
    """Our own scripts as the page carries them: without what only people and checkers read."""
    return without_comments(own_text(templates_root() / "report"))


def test_our_own_scripts_are_small() -> None:
    assert len(carried()) > 10_000
    assert too_many_bytes(carried()) == []


def test_scripts_that_are_too_large_are_found() -> None:
    assert too_many_bytes(carried() + "x" * MOST_BYTES) != []


def test_the_page_carries_them_strict_and_as_they_were_measured() -> None:
    text = scripts_text(templates_root() / "report")
    assert text.startswith('"use strict";\n')
    assert text.endswith(carried())


def test_squeezed_scripts_say_the_same_to_a_parser() -> None:
    """The squeezed text has the same tokens: only comments and white space went."""
    tokens = """
      const acorn = require(process.argv[1]);
      const text = require("fs").readFileSync(0, "utf8");
      const tokens = [...acorn.tokenizer(text, { ecmaVersion: 2022 })];
      console.log(JSON.stringify(tokens.map((t) => [t.type.label, t.value?.pattern ?? t.value ?? null])));
    """
    whole, squeezed = (
        run_node("-e", tokens, str(packages() / "acorn"), text_in=text)
        for text in (own_text(templates_root() / "report"), carried())
    )
    assert len(whole) > 10_000
    assert whole == squeezed


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
