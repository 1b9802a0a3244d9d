"""The page opens offline without a word of complaint, at every size, in both schemes, for everybody."""

from pathlib import Path

import pytest
from playwright.sync_api import Page
from support.browser import EVERYTHING_IN_SIGHT, SCHEMES, SIZES, Pages, Scheme, keep_picture
from support.node_tools import packages
from support.report_page import ReportPage, opened
from support.reports import shown

from sequencer.history.blocks import BY_TIMEOUT

# W3C Web Content Accessibility Guidelines 2.2, levels A and AA, as far as axe-core can judge them
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"]


@pytest.fixture(scope="module")
def stuck(tmp_path_factory: pytest.TempPathFactory) -> Path:
    document = shown("foot_stuck.csv", notes=("the left ankle was greased before this run",))
    return document.write(tmp_path_factory.mktemp("page") / "stuck.html")


@pytest.fixture(scope="module")
def two_runs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return shown("walk.csv", "foot_stuck.csv").write(tmp_path_factory.mktemp("page") / "two.html")


def barriers(page: Page) -> list[str]:
    """What axe-core finds: rule, what it is about, where."""
    page.evaluate(EVERYTHING_IN_SIGHT)
    page.evaluate((packages() / "axe-core" / "axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate(
        """async (levels) => (await axe.run({ runOnly: levels, rules: { "target-size": { enabled: true } } }))
          .violations.flatMap((v) => v.nodes.map((n) =>
            `${v.id}: ${n.target.join(" ")}: ${n.failureSummary}`))""",
        LEVELS,
    )
    assert isinstance(found, list)
    return found


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("size", SIZES)
def test_no_barrier_is_found_at_any_size_in_any_scheme(
    pages: Pages, stuck: Path, size: str, scheme: Scheme
) -> None:
    report = opened(pages, stuck, size, scheme)
    keep_picture(report.page, f"stuck-{size}-{scheme}", whole=True)
    keep_picture(report.page, f"stuck-{size}-{scheme}-first", whole=False)
    assert barriers(report.page) == []


def test_no_barrier_is_found_with_two_runs(pages: Pages, two_runs: Path) -> None:
    report = opened(pages, two_runs, "phone", "dark")
    keep_picture(report.page, "two-phone-dark")
    assert barriers(report.page) == []


PLANTED = {
    "color-contrast": "document.querySelector('h1').style.color = '#ccc'",
    "html-has-lang": "document.documentElement.removeAttribute('lang')",
    "button-name": "for (const name of ['aria-label', 'title']) play.removeAttribute(name)",
    "target-size": """for (const b of document.querySelectorAll('.tools, .tools button'))
        b.style.cssText = 'gap:0;padding:0;border:0;min-height:0;width:9px;height:9px;font-size:1px'""",
}


@pytest.mark.parametrize("rule", PLANTED)
def test_a_planted_barrier_is_found(pages: Pages, stuck: Path, rule: str) -> None:
    report = opened(pages, stuck)
    report.page.evaluate(f"() => {{ const play = document.getElementById('play'); {PLANTED[rule]} }}")
    assert any(line.startswith(f"{rule}:") for line in barriers(report.page))


@pytest.mark.parametrize("size", SIZES)
def test_nothing_is_wider_than_the_window(pages: Pages, two_runs: Path, size: str) -> None:
    report = opened(pages, two_runs, size)
    keep_picture(report.page, f"two-{size}-light")
    assert report.page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0]


def test_it_opens_just_before_what_went_wrong(pages: Pages, stuck: Path) -> None:
    run = shown("foot_stuck.csv").runs[0]
    assert run.history is not None
    report = opened(pages, stuck)
    timeouts = [move.at_ms for move in run.transitions if move.kind == BY_TIMEOUT]
    assert report.at_ms == timeouts[0] - run.plan.tick_ms


def test_the_fixed_part_reads_without_scripts(pages: Pages, stuck: Path) -> None:
    page = pages.open(stuck, scripts=False)
    text = page.text_content("main") or ""
    for words in ("What moves on this page needs JavaScript", "stork_stepping", "Findings of the check"):
        assert words in text
    assert page.locator(".line").count() > 100
    assert page.locator("#diagram svg").count() == 1


def test_less_motion_if_it_is_asked_for(pages: Pages, stuck: Path) -> None:
    report = opened(pages, stuck, reduced_motion=True)
    moving = """() => [...document.querySelectorAll("*")].filter((e) => {
      const style = getComputedStyle(e);
      return style.transitionDuration.split(", ").some((t) => parseFloat(t) > 0.01)
        || (style.animationName !== "none" && parseFloat(style.animationDuration) > 0.01);
    }).map((e) => e.id || e.className || e.tagName)"""
    assert report.page.evaluate(moving) == []
    assert report.page.evaluate("getComputedStyle(document.documentElement).scrollBehavior") == "auto"
    report.page.evaluate("() => { document.querySelector('h1').style.transition = 'color 2s'; }")
    assert report.page.evaluate(moving) == ["H1"]


def drawn_pages(report: ReportPage) -> bytes:
    return report.page.pdf(format="A4", print_background=True)


def test_it_prints(pages: Pages, stuck: Path, tmp_path: Path) -> None:
    report = opened(pages, stuck, scheme="dark")
    paper = drawn_pages(report)
    assert paper.startswith(b"%PDF-")
    assert (
        2 <= paper.count(b"/Type /Page\n") + paper.count(b"/Type/Page\n") + paper.count(b"/Type /Page ") <= 60
    )
    report.page.emulate_media(media="print")
    assert not report.page.is_visible("#bar")
    background = report.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert background in ("rgb(255, 255, 255)", "rgba(0, 0, 0, 0)")
