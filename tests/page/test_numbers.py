"""What the page says at a moment is what the run was at that moment, read back from the page."""

import math
import re
from pathlib import Path

import numpy as np
import pytest
from support.browser import Pages
from support.report_page import ALL_PLOTS, ReportPage, opened
from support.reports import Shown, shown

from sequencer.history.blocks import FALSE, TRUE
from sequencer.history.cause import cause_words
from sequencer.history.margins import guard_margins
from sequencer.history.run import Run, Stay
from sequencer.history.spare import spares
from sequencer.show.report.columns import RunColumns, watched_guards

NOTHING = "\N{EN DASH}"  # what stands in an empty cell
RECORDINGS = ("walk.csv", "foot_stuck.csv")


@pytest.fixture(scope="module", params=RECORDINGS)
def it(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Shown, Path]:
    report = shown(request.param)
    return report, report.write(tmp_path_factory.mktemp("numbers") / "run.html")


def ms_of(text: str) -> float:
    """The milliseconds that a time on the page stands for."""
    found = re.fullmatch(r"([\d.]+) (ms|s)", text)
    assert found, text
    return float(found[1]) * (1000 if found[2] == "s" else 1)


def ticks_of(run: Run) -> list[int]:
    """In every phase the first, the second, a middle and the last tick of the first two visits."""
    seen: dict[int, int] = {}
    ticks: list[int] = []
    for stay in run.stays(0):
        seen[stay.phase] = seen.get(stay.phase, 0) + 1
        if seen[stay.phase] <= 2:
            middle = (stay.from_tick + stay.to_tick) // 2
            ticks += [stay.from_tick, stay.from_tick + 1, middle, stay.to_tick - 1]
    return sorted({min(tick, run.ticks - 1) for tick in ticks})


def stay_at(run: Run, tick: int) -> Stay:
    return next(stay for stay in run.stays(0) if stay.from_tick <= tick < stay.to_tick)


def wrong_now(page: ReportPage, run: Run, tick: int) -> list[str]:
    """What the panel "now" says wrongly in a tick."""
    assert run.at_ms is not None
    at, stay = int(run.at_ms[tick]), stay_at(run, tick)
    phase = run.plan.sequences[0].phases[stay.phase]
    said = re.fullmatch(r"since (.+), for (.+)", page.text(".now-block .since"))
    assert said
    wrong = []
    if page.text(".now-block .phase-name") != phase.name or page.text("#bar-phase") != phase.name:
        wrong.append(f"phase {page.text('.now-block .phase-name')}, not {phase.name}")
    if ms_of(page.text("#bar-time")) != at:
        wrong.append(f"at {page.text('#bar-time')}, not {at} ms")
    if abs(ms_of(said[1]) - stay.from_ms) > 0.5 or abs(ms_of(said[2]) - (at - stay.from_ms)) > 5:
        wrong.append(f"{said[0]}, not since {stay.from_ms} ms at {at} ms")
    return wrong


def wrong_bars(page: ReportPage, run: Run, tick: int) -> list[str]:
    """What the bars of the active phase's guards say wrongly in a tick."""
    assert run.history is not None
    detail = run.history.detail
    assert detail is not None
    phase, wrong = stay_at(run, tick).phase, []
    guards = [watched.guard for watched in watched_guards(run.plan) if watched.phase == phase]
    bars = page.bars()
    if [len(rows) for rows in bars] != [len(run.plan.guards[guard].leaves) for guard in guards]:
        return [f"bars of other guards at tick {tick}"]
    for guard, rows in zip(guards, bars, strict=True):
        leaves = run.plan.guards[guard].leaves
        for leaf, row in zip(leaves, rows, strict=True):
            truth, margin = int(detail.truth[tick, leaf]), float(detail.margin[tick, leaf])
            if row.truth != truth or not same(row.margin, margin):
                wrong.append(f"{row} at tick {tick}, not {truth}, {margin}")
            missing = abs(short(row.number) + margin)
            if truth == FALSE and math.isfinite(margin) and not missing <= digit(margin):
                wrong.append(f"{row.number} at tick {tick}, not {-margin} short")
    return wrong


def same(a: float, b: float) -> bool:
    return a == b or (math.isnan(a) and math.isnan(b))


def digit(x: float) -> float:
    """Half a unit of the third digit, which is the last that the page shows."""
    return max(0.5 * 10 ** (math.floor(math.log10(abs(x))) - 2), 1e-9) * 1.001 if x else 1e-9


def short(text: str) -> float:
    found = re.search(r"(-?[\d.]+) ?\S* short", text)
    return float(found[1]) if found else math.nan


@pytest.mark.parametrize("planted", [False, True])
def test_phase_since_when_and_missing_amounts(pages: Pages, it: tuple[Shown, Path], *, planted: bool) -> None:
    report, path = it
    run = report.runs[0]
    assert run.at_ms is not None
    page = opened(pages, path)
    wrong = []
    ticks = ticks_of(run)
    assert len(ticks) > 15
    for tick in ticks[3:6] if planted else ticks:
        page.go(float(run.at_ms[tick]))
        looked = tick + 1 if planted else tick  # a page that lags by one tick must be noticed
        wrong += wrong_now(page, run, looked) + wrong_bars(page, run, looked)
    assert bool(wrong) == planted, wrong


def test_the_headline_number_is_the_largest_part_that_is_missing(
    pages: Pages, it: tuple[Shown, Path]
) -> None:
    report, path = it
    run = report.runs[0]
    assert run.history is not None and run.history.detail is not None and run.at_ms is not None
    page, compared = opened(pages, path), 0
    for tick in ticks_of(run):
        phase = stay_at(run, tick).phase
        guards = [w.guard for w in watched_guards(run.plan) if w.phase == phase]
        if len(guards) != 1:
            continue
        leaves = run.plan.guards[guards[0]].leaves
        truths, margins = (a[tick, leaves[0]] for a in (run.history.detail.truth, run.history.detail.margin))
        if len(leaves) != 1 or truths != FALSE or not math.isfinite(margins):
            continue
        page.go(float(run.at_ms[tick]))
        compared += 1
        found = re.fullmatch(r"short by (-?[\d.]+) (deg|mm)", page.text(".now-block .short"))
        assert found, page.text(".now-block .short")
        assert float(found[1]) == pytest.approx(-float(margins), abs=digit(float(margins)))
    assert compared >= 5


def test_holds_still_to_run(pages: Pages, it: tuple[Shown, Path]) -> None:
    report, path = it
    run, plan = report.runs[0], report.gait.plan
    assert run.history is not None and run.history.detail is not None and run.at_ms is not None
    page, compared = opened(pages, path), 0
    columns = RunColumns(plan)
    values = columns.values(run.history)
    for watched in watched_guards(plan):
        guard = plan.guards[watched.guard]
        if watched.phase is None or guard.hold is None:
            continue
        true = np.flatnonzero(guard_margins(plan, watched.guard, run.history.detail)[0] == TRUE).tolist()
        # in the tick in which it fires the next phase is the one that is active
        for tick in [t for t in true if stay_at(run, t).phase == watched.phase][:3]:
            left = int(values[columns.hold_left[watched.guard]][tick])
            page.go(float(run.at_ms[tick]))
            texts = page.texts("#why-bars .hold")
            want = (
                "hold is met" if left == 0 else f"{left} fresh sample{'s' if left > 1 else ''} still to come"
            )
            assert any(want in text for text in texts), (tick, left, texts)
            compared += 1
    assert compared >= 6


def test_values_at_the_moment_in_every_plot(pages: Pages, it: tuple[Shown, Path]) -> None:
    report, path = it
    run, plots = report.runs[0], report.document.runs[0].plots
    assert run.history is not None and run.at_ms is not None
    columns = RunColumns(run.plan)
    values, names = columns.values(run.history), [head.name for head in columns.heads]
    page = opened(pages, path)
    page.page.set_viewport_size(ALL_PLOTS)
    page.settle()
    for tick in ticks_of(run)[::3]:
        page.go(float(run.at_ms[tick]))
        said = page.plotted()
        assert [title for title, _ in said] == [plot.title for plot in plots]
        for plot, (_, got) in zip(plots, said, strict=True):
            want = [(names[i], float(values[i][tick])) for i in plot.columns]
            assert [name for name, _ in got] == [name for name, _ in want]
            for (name, value), (_, number) in zip(got, want, strict=True):
                assert same(value, number), (tick, name, value, number)


def test_the_table_of_transitions(pages: Pages, it: tuple[Shown, Path]) -> None:
    report, path = it
    run = report.runs[0]
    assert run.history is not None
    phases = run.plan.sequences[0].phases
    spare = {found.fired_ms: found for found in spares(run)}
    rows = opened(pages, path).moves()
    assert len(rows) == len(run.transitions) > 5
    for (at, way, stayed, cause, left_over), move in zip(rows, run.transitions, strict=True):
        left = NOTHING if move.left is None else phases[move.left].name
        assert ms_of(at) == move.at_ms
        assert way == f"{left} → {phases[move.entered].name}"
        if move.left is not None:
            assert ms_of(stayed) == pytest.approx(move.stayed_ms, abs=5)
        assert cause == cause_words(run.plan, move, run.history.detail)
        found = spare.get(move.at_ms)
        if found is None:
            assert left_over == NOTHING
        else:
            said = re.fullmatch(r"(at least )?(-?[\d.]+) (\S+)", left_over)
            assert said, left_over
            assert (said[1] is None) == found.settled
            assert said[3] == found.unit
            assert float(said[2]) == pytest.approx(found.amount, abs=digit(found.amount))


def test_times_in_phases(pages: Pages, it: tuple[Shown, Path]) -> None:
    report, path = it
    run = report.runs[0]
    page = opened(pages, path)
    rows = page.page.evaluate(
        """() => [...document.querySelectorAll("#times-body tr")].map((row) =>
          [...row.cells].map((cell) => cell.textContent))"""
    )
    for name, visits, *_ in rows:
        index = [phase.name for phase in run.plan.sequences[0].phases].index(name)
        assert int(visits) == sum(move.left == index for move in run.transitions)
    assert len(rows) > 5
