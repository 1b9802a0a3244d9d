"""Everything on the page can be reached and done from the keyboard, and one sees where one is."""

from pathlib import Path
from typing import Any

import pytest
from support.browser import Pages
from support.report_page import ReportPage, opened
from support.reports import Shown, shown

from sequencer.history.run import Run

# all that can have the focus, in the order of the document
CONTROLS = """() => [...document.querySelectorAll(
    "a[href], button, input, select, textarea, summary, [tabindex]")]
  .filter((e) => e.tabIndex >= 0 && !e.disabled && e.checkVisibility({ visibilityProperty: true }))
  .map((e, i) => { e.dataset.stop = String(i); return e.id || e.textContent.trim().slice(0, 40); })"""

# where the focus is: which control, is it marked, is it in the window and not under the bar
FOCUSED = """async () => {
  for (let i = 0; i < 3; i++) await new Promise(requestAnimationFrame);  // the window follows the focus
  const e = document.activeElement, style = getComputedStyle(e), box = e.getBoundingClientRect();
  const bar = document.getElementById("bar").getBoundingClientRect();
  const bottom = e.closest("#bar") ? innerHeight : bar.top;
  return {
    stop: e.dataset.stop === undefined ? -1 : Number(e.dataset.stop),
    name: e.id || e.textContent.trim().slice(0, 40),
    marked: (style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2)
      || style.boxShadow !== "none",
    seen: box.bottom > 0 && box.top < bottom && box.right > 0 && box.left < innerWidth,
  };
}"""


@pytest.fixture(scope="module")
def walk(tmp_path_factory: pytest.TempPathFactory) -> tuple[Shown, Path]:
    report = shown("walk.csv", notes=("a note",))
    return report, report.write(tmp_path_factory.mktemp("keyboard") / "walk.html")


def tabbed(page: ReportPage, most: int) -> list[dict[str, Any]]:
    """Press Tab until the focus has left the page; give what had it."""
    stops: list[dict[str, Any]] = []
    for _ in range(most):
        page.page.keyboard.press("Tab")
        at = page.page.evaluate(FOCUSED)
        if at["stop"] < 0:
            return stops
        stops.append(at)
    return stops


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_tab_reaches_every_control_and_shows_where_it_is(
    pages: Pages, walk: tuple[Shown, Path], size: str
) -> None:
    page = opened(pages, walk[1], size, reduced_motion=True)
    controls = page.page.evaluate(CONTROLS)
    assert len(controls) > 40
    stops = tabbed(page, len(controls) + 5)
    assert [stop["stop"] for stop in stops] == list(range(len(controls)))
    assert [stop["name"] for stop in stops if not stop["marked"]] == []
    assert [stop["name"] for stop in stops if not stop["seen"]] == []


def test_a_hidden_focus_and_a_control_that_is_left_out_are_found(
    pages: Pages, walk: tuple[Shown, Path]
) -> None:
    page = opened(pages, walk[1], reduced_motion=True)
    controls = page.page.evaluate(CONTROLS)
    page.page.evaluate("""() => {
      const style = new CSSStyleSheet();
      style.replaceSync("#zoom-in:focus-visible { outline: none !important; box-shadow: none !important; }");
      document.adoptedStyleSheets = [style];
      document.getElementById("zoom-out").tabIndex = -1;
    }""")
    stops = tabbed(page, len(controls) + 5)
    assert [stop["name"] for stop in stops if not stop["marked"]] == ["zoom-in"]
    assert len(stops) == len(controls) - 1


def times(run: Run) -> list[float]:
    assert run.at_ms is not None
    return [float(at) for at in run.at_ms]


def test_arrows_home_end_and_jumps_move_through_time(pages: Pages, walk: tuple[Shown, Path]) -> None:
    report, path = walk
    run = report.runs[0]
    at, changes = times(run), [float(ms) for ms in run.transitions.at_ms]
    page = opened(pages, path)
    page.page.focus("#ribbon")
    page.press("Home")
    assert page.at_ms == at[0]
    for n in (1, 2, 3):
        page.press("ArrowRight")
        assert page.at_ms == at[n]
    page.press("ArrowLeft")
    assert page.at_ms == at[2]
    page.press("End")
    assert page.at_ms == at[-1]
    page.press("ArrowRight")
    assert page.at_ms == at[-1]
    page.press("Home")
    for change in changes[1:6]:
        page.press("Shift+ArrowRight")
        assert page.at_ms == change
    page.press("Shift+ArrowLeft")
    assert page.at_ms == changes[4]
    page.press("PageDown")
    assert page.at_ms in (changes[3], changes[5])


def test_the_slider_says_where_it_is(pages: Pages, walk: tuple[Shown, Path]) -> None:
    report, path = walk
    run = report.runs[0]
    page = opened(pages, path)
    tick = run.ticks // 2
    page.go(times(run)[tick])
    slider = page.page.locator("#ribbon")
    assert slider.get_attribute("role") == "slider"
    assert float(slider.get_attribute("aria-valuemin") or "nan") == run.start_ms
    assert float(slider.get_attribute("aria-valuemax") or "nan") == run.end_ms
    phase = next(s.phase for s in run.stays(0) if s.from_tick <= tick < s.to_tick)
    name = run.plan.sequences[0].phases[phase].name
    assert slider.get_attribute("aria-valuetext") == f"{times(run)[tick] / 1000:.2f} s, {name}"


def test_space_plays_at_real_speed_and_stops(pages: Pages, walk: tuple[Shown, Path]) -> None:
    page = opened(pages, walk[1])
    page.press("Home")
    begun = page.page.evaluate("performance.now()")
    page.page.keyboard.press("Space")
    page.page.wait_for_timeout(700)
    assert page.page.get_attribute("#play", "aria-label") == "stop"
    page.page.keyboard.press("Space")
    ran = page.page.evaluate("performance.now()") - begun
    page.settle()
    stopped = page.at_ms
    # as fast as the clock on the wall; the machine may be slow to begin and to stop
    assert 0.4 * ran <= stopped <= 1.1 * ran
    page.page.wait_for_timeout(150)
    page.settle()
    assert page.at_ms == stopped
    assert page.page.get_attribute("#play", "aria-label") == "play"


def test_slow_play_is_slower(pages: Pages, walk: tuple[Shown, Path]) -> None:
    page = opened(pages, walk[1])
    page.press("Home")
    page.page.select_option("#speed", "0.1")
    begun = page.page.evaluate("performance.now()")
    page.page.click("#play")
    page.page.wait_for_timeout(700)
    page.page.click("#play")
    ran = page.page.evaluate("performance.now()") - begun
    page.settle()
    assert 0.02 * ran <= page.at_ms <= 0.12 * ran


def test_a_key_while_it_plays_is_not_undone(pages: Pages, walk: tuple[Shown, Path]) -> None:
    page = opened(pages, walk[1])
    page.press("Home")
    page.page.keyboard.press("Space")
    page.page.wait_for_timeout(100)
    for _ in range(6):
        page.page.keyboard.press("Shift+ArrowRight")
    there = float(walk[0].runs[0].transitions.at_ms[6])
    page.page.wait_for_timeout(150)
    page.page.keyboard.press("Space")
    page.settle()
    assert page.at_ms >= there


def test_plus_minus_and_nought_zoom_the_plots(pages: Pages, walk: tuple[Shown, Path]) -> None:
    run = walk[0].runs[0]
    page = opened(pages, walk[1])
    page.press("0")
    whole = page.page.evaluate("[report.from, report.to]")
    assert whole == [run.start_ms, run.end_ms]
    page.press("+")
    page.press("+")
    part = page.page.evaluate("[report.from, report.to]")
    assert part[1] - part[0] <= 0.26 * (whole[1] - whole[0])
    assert part[0] <= page.at_ms <= part[1]
    page.press("-")
    assert page.page.evaluate("report.to - report.from") > part[1] - part[0]
    page.press("0")
    assert page.page.evaluate("[report.from, report.to]") == whole


def test_enter_on_a_phase_of_the_diagram_goes_to_its_visit(pages: Pages, walk: tuple[Shown, Path]) -> None:
    run = walk[0].runs[0]
    page = opened(pages, walk[1])
    page.press("Home")
    phase = [p.name for p in run.plan.sequences[0].phases].index("lift_left")
    first = next(stay for stay in run.stays(0) if stay.phase == phase)
    page.page.locator(f"#phase_0_{phase}").focus()
    page.press("Enter")
    assert page.at_ms == first.from_ms
