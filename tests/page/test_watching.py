"""The watch over pages sees what a page should not do; otherwise a silent test would prove nothing."""

from pathlib import Path

import pytest
from support.browser import RESULTS, SIZES, Pages, keep_picture

HEAD = "<!doctype html><html lang=en><meta charset=utf-8><title>t</title>"


def page_file(folder: Path, body: str) -> Path:
    path = folder / "page.html"
    path.write_text(HEAD + body, encoding="utf-8")
    return path


def test_a_quiet_page_is_fine(tmp_path: Path, pages: Pages) -> None:
    page = pages.open(page_file(tmp_path, "<p>quiet<script>document.title = 'ran'</script>"))
    assert page.title() == "ran"
    assert pages.troubles() == []


@pytest.mark.parametrize(
    ("body", "trouble"),
    [
        ("<img src=https://example.org/a.png alt=''>", "asked for https://example.org/a.png"),
        ("<link rel=stylesheet href=https://example.org/a.css>", "asked for https://example.org/a.css"),
        ("<script>fetch('https://example.org/f').catch(() => 0)</script>", "asked for https://example.org/f"),
        ("<script src=other.js></script>", "other.js"),
        ("<img src=other.png alt=''>", "other.png"),
        ("<style>p { background: url(https://example.org/b.png) }</style><p>b", "example.org/b.png"),
        ("<iframe src=https://example.org/frame></iframe>", "asked for https://example.org/frame"),
        ("<script>console.log('hello')</script>", "console log: hello"),
        ("<script>throw new Error('broken')</script>", "broken"),
        ("<script>Promise.reject(new Error('late'))</script>", "late"),
        (
            "<meta http-equiv=Content-Security-Policy content=\"script-src 'none'\"><script>1</script>",
            "console error: ",
        ),
    ],
)
def test_what_a_page_should_not_do_is_seen(tmp_path: Path, pages: Pages, body: str, trouble: str) -> None:
    page = pages.open(page_file(tmp_path, body))
    page.wait_for_timeout(50)
    found = pages.troubles()
    assert any(trouble in line for line in found), found


def test_the_reader_is_offline(tmp_path: Path, pages: Pages) -> None:
    page = pages.open(page_file(tmp_path, "<p>offline"))
    assert page.evaluate("navigator.onLine") is False


@pytest.mark.parametrize("size", SIZES)
def test_sizes_schemes_and_pictures(tmp_path: Path, pages: Pages, size: str) -> None:
    path = page_file(tmp_path, "<style>@media (prefers-color-scheme: dark) {p {color: red}}</style><p>x")
    page = pages.open(path, size, "dark")
    assert page.evaluate("[innerWidth, innerHeight]") == list(SIZES[size])
    assert page.evaluate("getComputedStyle(document.querySelector('p')).color") == "rgb(255, 0, 0)"
    picture = keep_picture(page, f"watching-{size}")
    assert picture.parent == RESULTS
    assert picture.read_bytes().startswith(b"\x89PNG")
    picture.unlink()
