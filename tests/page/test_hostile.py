"""Nothing that strangers write into gaits, notes, traces or file names runs or turns the page around."""

from pathlib import Path

import pytest
from playwright.sync_api import Page
from support.browser import Pages, keep_picture
from support.commands import STORK, run
from support.report_page import ALL_PLOTS, ReportPage, opened
from support.reports import RECORDINGS

# each would set `planted` in a page that lets it
EVIL = [
    "<script>planted=1</script>",
    "</script><script>planted=1</script>",
    "<!--<script>planted=1",
    "]]>--><img src=x onerror=planted=1>",
    "\"'><svg onload=planted=1>",
    "&lt;script&gt;planted=1&lt;/script&gt;",
    "</title></style></textarea><script>planted=1</script>",
    "{{ 7*7 }}{% raw %}${planted=1}`",
    "</bdi></code></div><iframe srcdoc='<script>parent.planted=1</script>'>",
]
TURNED = "left\u202eknee\u2066\u200f"  # would show what follows from right to left
ALL = " ".join(EVIL)
NAME = "<img src=x onerror=planted=1> \"'&`${}"  # a file's name holds no slash


def nothing_ran(page: Page) -> None:
    """Look for what would be there if anything had run or got in as markup."""
    assert page.evaluate("typeof planted") == "undefined"
    assert page.evaluate("document.scripts.length") == 2
    assert page.locator("img, iframe, [onerror], [onload], svg [onload]").count() == 0


def unturned(page: Page) -> None:
    """Look for characters that turn the reading direction anywhere on the page."""
    text = page.evaluate("document.documentElement.outerHTML")
    assert not any(mark in text for mark in "\u202a\u202b\u202d\u202e\u2066\u2067\u2068\u2069")


@pytest.fixture(scope="module")
def gait_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hostile")
    machine = folder / f"{NAME}.machine.yaml"
    machine.write_bytes(STORK.with_name("stork.machine.yaml").read_bytes())
    text = STORK.read_text(encoding="utf-8")
    block = "|\n  " + "\n  ".join([*EVIL, TURNED])
    quoted = machine.name.replace("'", "''")
    text = text.replace("about: side-to-side stepping on the spot", f"about: {block}")
    text = text.replace("machine: stork.machine.yaml", f"machine: '{quoted}'")
    rule = ALL.replace("'", "''")
    text = text.replace("name: weight on the standing leg", f"name: '{rule} {TURNED}'")
    assert text.count("planted=1") > 15
    gait = folder / f"{NAME}.gait.yaml"
    gait.write_text(f"# {ALL} {TURNED}\n{text}", encoding="utf-8")
    recording = folder / f"{NAME}.csv"
    recording.write_bytes((RECORDINGS / "foot_stuck.csv").read_bytes())
    target = folder / "report.html"
    notes = [option for evil in [*EVIL, f"one\ntwo {TURNED}"] for option in ("--note", evil)]
    done = run("report", recording, "--gait", gait, "-o", target, *notes)
    assert done.returncode == 0, done.stderr
    return target


@pytest.fixture(scope="module")
def log_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("hostile")
    phases = [*EVIL, TURNED, "'left'", "\u05e9\u05de\u05d0\u05dc"]
    head = ["time_ms", "phase", *(f"{evil} {i}" for i, evil in enumerate(EVIL))]
    rows = [head] + [[str(20 * i), phases[i // 10 % len(phases)], *["1.5"] * len(EVIL)] for i in range(300)]
    log = folder / f"{NAME}.csv"
    quoted = ("{}".format(",".join('"' + cell.replace('"', '""') + '"' for cell in row)) for row in rows)
    log.write_text("\n".join(quoted) + "\n", encoding="utf-8")
    target = folder / "report.html"
    done = run("report", log, "-o", target, "--note", ALL)
    assert done.returncode == 0, done.stderr
    return target


def visit_all(report: ReportPage) -> None:
    """Go through time, so that everything that the scripts write has been written."""
    report.page.set_viewport_size(ALL_PLOTS)
    report.press("Home")
    for _ in range(12):
        report.press("Shift+ArrowRight")
    report.press("End")
    report.page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
    report.settle()


def test_nothing_in_a_gait_or_a_note_runs(pages: Pages, gait_page: Path) -> None:
    report = opened(pages, gait_page)
    visit_all(report)
    nothing_ran(report.page)
    unturned(report.page)
    keep_picture(report.page, "hostile-gait", whole=False)


def test_what_a_gait_and_notes_say_reads_as_it_was_written(pages: Pages, gait_page: Path) -> None:
    report = opened(pages, gait_page)
    # white space aside, which HTML folds
    seen = " ".join(report.page.evaluate("document.querySelector('main').textContent").split())
    for evil in EVIL:
        assert seen.count(" ".join(evil.split())) >= 3  # as a note, in `about`, as a rule's name
    assert report.texts("p.note")[: len(EVIL)] == EVIL
    assert report.texts("p.note")[len(EVIL)] == "one two leftknee"
    assert report.page.title().endswith(f"{NAME}.csv")
    for name in (f"{NAME}.gait.yaml", f"{NAME}.machine.yaml", f"{NAME}.csv"):
        assert name in seen


def test_nothing_in_a_log_runs(pages: Pages, log_page: Path) -> None:
    report = opened(pages, log_page)
    visit_all(report)
    nothing_ran(report.page)
    unturned(report.page)
    keep_picture(report.page, "hostile-log", whole=False)
    names = [line for _, lines in report.plotted() for line, _ in lines]
    assert names == [f"{evil} {i}" for i, evil in enumerate(EVIL)]
    report.press("Home")
    assert report.text(".now-block .phase-name") == EVIL[0]


@pytest.mark.parametrize("evil", ["<script>planted = 1</script>", "<img src=data:, onerror='planted = 1'>"])
def test_a_page_that_lets_it_run_is_found(pages: Pages, gait_page: Path, tmp_path: Path, evil: str) -> None:
    text = gait_page.read_text(encoding="utf-8")
    policy = text.index("<meta http-equiv")
    open_page = text[:policy] + text[text.index(">", policy) + 1 :]
    target = tmp_path / "open.html"
    target.write_text(open_page.replace("<main>", f"<main>{evil}", 1), encoding="utf-8")
    page = pages.open(target)
    page.wait_for_timeout(50)
    with pytest.raises(AssertionError):
        nothing_ran(page)
    pages.troubles()


@pytest.mark.parametrize(
    "evil",
    [
        "<script>planted = 1</script>",
        "<img src=data:, onerror='planted = 1'>",
        "<a id=evil href='javascript:void(planted = 1)'>x</a>",
        "<iframe srcdoc='<script>parent.planted = 1</script>'></iframe>",
    ],
)
def test_the_policy_stops_what_should_get_in_all_the_same(
    pages: Pages, gait_page: Path, tmp_path: Path, evil: str
) -> None:
    target = tmp_path / "planted.html"
    text = gait_page.read_text(encoding="utf-8")
    target.write_text(text.replace("<main>", f"<main>{evil}", 1), encoding="utf-8")
    page = pages.open(target)
    if "evil" in evil:
        page.locator("#evil").click()
    page.wait_for_timeout(50)
    assert page.evaluate("typeof planted") == "undefined"
    assert any("Content Security Policy" in line for line in pages.troubles())


def test_the_policy_stops_requests(pages: Pages, gait_page: Path) -> None:
    page = pages.open(gait_page)
    failed = page.evaluate("fetch('https://example.org/').then(() => 'came', () => 'stopped')")
    assert failed == "stopped"
    assert any("Content Security Policy" in line for line in pages.troubles())
