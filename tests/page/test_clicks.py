"""A click on a phase, a transition, a finding or a trouble leads to its moments and to its lines."""

from pathlib import Path

import pytest
from support.browser import Pages
from support.report_page import ALL_PLOTS, ReportPage, opened
from support.reports import Shown, shown

from sequencer.history.run import Run, Stay


@pytest.fixture(scope="module")
def walk(tmp_path_factory: pytest.TempPathFactory) -> tuple[Shown, Path]:
    report = shown("walk.csv")
    return report, report.write(tmp_path_factory.mktemp("clicks") / "walk.html")


@pytest.fixture(scope="module")
def stuck(tmp_path_factory: pytest.TempPathFactory) -> tuple[Shown, Path]:
    report = shown("foot_stuck.csv")
    return report, report.write(tmp_path_factory.mktemp("clicks") / "stuck.html")


def index_of(run: Run, phase: str) -> int:
    return [p.name for p in run.plan.sequences[0].phases].index(phase)


def visits(run: Run, phase: str) -> list[Stay]:
    return [stay for stay in run.stays(0) if stay.phase == index_of(run, phase)]


def lines_of(report: Shown, phase: str) -> list[int]:
    shown_phase = report.document.walk.sequences[0].phases[index_of(report.runs[0], phase)]
    assert shown_phase.place is not None
    return list(range(shown_phase.place.line, shown_phase.place.last + 1))


def active_phase(page: ReportPage) -> str:
    return page.text(".now-block .phase-name")


def test_a_phase_of_the_diagram(pages: Pages, walk: tuple[Shown, Path]) -> None:
    report, path = walk
    run = report.runs[0]
    page = opened(pages, path)
    page.press("Home")
    card = f"#phase_0_{index_of(run, 'lower_left')}"
    stays = visits(run, "lower_left")
    assert len(stays) > 2
    for stay in stays[:3]:  # each click leads to the next visit
        page.click(card)
        assert page.at_ms == stay.from_ms
    assert active_phase(page) == "lower_left"
    assert page.marked_lines("active") == lines_of(report, "lower_left")
    assert page.page.locator(f"{card} .now-frame").count() == 1
    assert page.page.locator(".now-frame").count() == 1


def test_what_is_marked_follows_the_moment(pages: Pages, walk: tuple[Shown, Path]) -> None:
    report, path = walk
    run = report.runs[0]
    page = opened(pages, path)
    page.page.set_viewport_size(ALL_PLOTS)  # what is out of sight is not brought up to date
    for stay in run.stays(0)[:9]:
        page.go(stay.from_ms)
        name = run.plan.sequences[0].phases[stay.phase].name
        assert page.page.locator(f"#phase_0_{stay.phase} .now-frame").count() == 1
        assert page.marked_lines("active") == lines_of(report, name)


def test_the_lines_of_the_active_phase_are_in_sight(pages: Pages, walk: tuple[Shown, Path]) -> None:
    report, path = walk
    page = opened(pages, path)
    page.page.set_viewport_size(ALL_PLOTS)  # what is out of sight is not brought up to date
    for stay in visits(report.runs[0], "standing")[:1] + visits(report.runs[0], "lower_left")[:1]:
        page.go(stay.from_ms)
        page.page.locator(
            "#diagram-and-files"
        ).scroll_into_view_if_needed()  # what is out of sight is left alone
        page.settle()
        assert page.page.evaluate("""() => {
          const line = document.querySelector(".line.active"), box = line.closest(".source");
          const [a, b] = [line.getBoundingClientRect(), box.getBoundingClientRect()];
          return a.top >= b.top - 1 && a.bottom <= b.bottom + 1;
        }""")


def test_a_transition(pages: Pages, walk: tuple[Shown, Path]) -> None:
    report, path = walk
    page = opened(pages, path)
    for row in (2, 4):
        page.press("Home")
        page.page.locator("#moves-body tr").nth(row).locator("button").click()
        page.settle()
        move = report.runs[0].transitions[row]
        assert page.at_ms == move.at_ms
        assert move.left is not None
        left = report.runs[0].plan.sequences[0].phases[move.left].name
        asked = page.marked_lines("asked")
        assert asked
        assert set(asked) <= set(lines_of(report, left))
        assert page.page.locator("#moves-body tr[aria-current=true] button").inner_text() == (
            f"{move.at_ms / 1000:.2f} s"
        )


def test_a_finding(pages: Pages, walk: tuple[Shown, Path]) -> None:
    report, path = walk
    gait = report.document.walk.gait
    assert gait is not None
    placed = [finding for finding in gait.findings if finding.place is not None and finding.place.file == 0]
    assert placed
    page = opened(pages, path)
    links = page.page.locator(".findings button.place[data-file='0']")
    assert links.count() == len(placed)
    for number, finding in enumerate(placed):
        assert finding.place is not None
        links.nth(number).click()
        page.settle()
        assert page.marked_lines("asked") == list(range(finding.place.line, finding.place.last + 1))
        inside = [
            phase.name
            for phase in report.document.walk.sequences[0].phases
            if phase.place and phase.place.line <= finding.place.line <= phase.place.last
        ]
        if inside:
            assert active_phase(page) in inside


def test_a_trouble_leads_to_the_moment_before_it_and_to_its_lines(
    pages: Pages, stuck: tuple[Shown, Path]
) -> None:
    report, path = stuck
    trouble = report.document.runs[0].troubles[0]
    assert trouble.kind == "timeout"
    page = opened(pages, path)
    page.press("Home")
    page.click(".troubles button.moment")
    assert page.at_ms == trouble.at - report.gait.plan.tick_ms
    assert active_phase(page) == "lean_left"
    page.click(".troubles button.place")
    assert trouble.place is not None
    assert page.marked_lines("asked") == list(range(trouble.place.line, trouble.place.last + 1))
    # they are lean_right's, of which lean_left is the mirror image: the moment stays where it is
    assert page.at_ms == trouble.at - report.gait.plan.tick_ms
    assert active_phase(page) == "lean_left"


def test_why_the_left_foot_stays_down_is_read_without_a_click(
    pages: Pages, stuck: tuple[Shown, Path]
) -> None:
    page = opened(pages, stuck[1])
    first_sight = page.page.evaluate("""() => [...document.querySelectorAll("main *")].filter((e) =>
      !e.children.length && e.getBoundingClientRect().bottom < document.getElementById("bar")
        .getBoundingClientRect().top).map((e) => e.textContent).join(" ")""")
    assert "lean_left" in first_sight
    assert "left_leg_roll" in first_sight
    assert "1.32 deg short" in first_sight  # the run's own figure, see the dry run's summary


def test_a_press_on_the_ribbon(pages: Pages, walk: tuple[Shown, Path]) -> None:
    run = walk[0].runs[0]
    page = opened(pages, walk[1])
    box = page.page.locator("#ribbon canvas").first.bounding_box()
    assert box is not None
    page.page.mouse.click(box["x"] + box["width"] - 2, box["y"] + box["height"] / 2)
    page.settle()
    assert page.at_ms > 0.98 * run.end_ms
    assert page.page.locator("#ribbon canvas").first.bounding_box() == box  # it stays under the hand
    page.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 30)
    page.page.mouse.down()
    page.page.mouse.move(box["x"] + box["width"] / 3, box["y"] + 30, steps=4)
    page.page.mouse.up()
    page.settle()
    assert 0.2 * run.end_ms < page.at_ms < 0.45 * run.end_ms


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_nothing_jumps_while_the_moment_moves(pages: Pages, stuck: tuple[Shown, Path], size: str) -> None:
    run = stuck[0].runs[0]
    page = opened(pages, stuck[1], size)
    tops = set()
    for stay in run.stays(0):
        for at in (stay.from_ms, (stay.from_ms + stay.to_ms) // 20 * 10, stay.to_ms - run.plan.tick_ms):
            page.go(at)
            box = page.page.locator("#ribbon canvas").first.bounding_box()
            assert box is not None
            tops.add(round(box["y"], 2))
    assert len(tops) == 1, tops


def test_a_drag_in_a_plot_looks_closer_and_a_click_moves_the_moment(
    pages: Pages, walk: tuple[Shown, Path]
) -> None:
    page = opened(pages, walk[1])
    page.press("0")
    plot = page.page.locator("#plots .u-over").first
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    assert box is not None
    page.page.mouse.move(box["x"] + 200, box["y"] + 40)
    page.page.mouse.down()
    page.page.mouse.move(box["x"] + 400, box["y"] + 40, steps=5)
    page.page.mouse.up()
    page.page.wait_for_timeout(50)
    page.settle()
    end = walk[0].runs[0].end_ms
    begins, ends = page.page.evaluate("[report.from, report.to]")
    assert begins == pytest.approx(200 / box["width"] * end, rel=0.02)
    assert ends == pytest.approx(400 / box["width"] * end, rel=0.02)
    page.page.mouse.click(box["x"] + box["width"] / 2, box["y"] + 40)
    page.settle()
    assert page.at_ms == pytest.approx((begins + ends) / 2, rel=0.01)


def test_a_finger_on_a_phone_moves_the_moment(pages: Pages, walk: tuple[Shown, Path]) -> None:
    run = walk[0].runs[0]
    page = opened(pages, walk[1], "phone", touch=True)
    page.page.locator("#ribbon").scroll_into_view_if_needed()
    box = page.page.locator("#ribbon canvas").first.bounding_box()
    assert box is not None
    page.page.touchscreen.tap(box["x"] + box["width"] * 0.75, box["y"] + box["height"] / 2)
    page.settle()
    assert 0.6 * run.end_ms < page.at_ms < 0.8 * run.end_ms
    before = page.at_ms
    page.page.locator("#tick-on").tap()
    page.settle()
    assert page.at_ms == before + run.plan.tick_ms
