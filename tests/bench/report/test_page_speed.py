"""How soon a report of 100,000 ticks and 12 signals is open, and how smoothly its moment moves."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from support.browser import Pages
from support.report_page import ReportPage, opened
from support.reports import Shown

import sequencer
from sequencer.show.report.build import report_document
from sequencer.show.report.recorded import RunSource

TICKS, SIGNALS, TICK_MS = 100_000, 12, 10
SECONDS = 3
GAIT = f"""\
gait: hundred_thousand
machine:
  tick: {TICK_MS} ms
  signals:
    s<n>:
      for_each: {{n: {list(range(SIGNALS))}}}
      unit: deg
      span: [-60, 60]
phases:
  left:
    rest: true
    leave: [{{to: right, when: {{signal: s0, above: 10 deg}}, hold: 3 samples}}]
    timeout: never
    because: a benchmark
  right:
    leave: [{{to: left, when: {{all: [{{signal: s0, below: -10 deg}}, {{signal: s1, below: 20 deg}}]}}}}]
    timeout: {{after: 5 s, to: left}}
"""


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A walk of 17 minutes: every signal swings once in 2 s, with noise, a new sample in every tick."""
    folder = tmp_path_factory.mktemp("large")
    rng = np.random.default_rng(5)
    time = np.arange(TICKS) * TICK_MS
    swing = 15 * np.sin(2 * np.pi * (time[:, None] / 2000 + np.arange(SIGNALS) / SIGNALS))
    values = swing + rng.normal(0, 0.3, (TICKS, SIGNALS))
    recording = folder / "large.csv"
    names = ",".join(f"s{n}" for n in range(SIGNALS))
    formats = ["%d", *["%.3f"] * SIGNALS]
    np.savetxt(
        recording, np.column_stack([time, values]), formats, ",", header=f"time_ms,{names}", comments=""
    )
    gait = sequencer.loads(GAIT)
    run = gait.dry_run(recording, executor="reference")
    shown = Shown(gait, (run,), report_document(gait.plan, [RunSource(recording.name, run)]))
    return shown.write(folder / "large.html")


def test_opening(
    benchmark: BenchmarkFixture, pages: Pages, large: Path, print_table: Callable[[str], None]
) -> None:
    def open_it() -> ReportPage:
        return opened(pages, large)

    benchmark.pedantic(open_it, rounds=5, warmup_rounds=1)
    page = open_it().page
    first = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    size = large.stat().st_size / 1e6
    benchmark.extra_info.update(megabytes=size, first_paint_ms=first)
    print_table(f"{size:.1f} MB; first painted after {first:.0f} ms")


FRAMES = """async (seconds) => {
  const times = [];
  const begun = performance.now();
  while (performance.now() - begun < seconds * 1000) times.push(await new Promise(requestAnimationFrame));
  const steps = times.slice(1).map((t, i) => t - times[i]).sort((a, b) => a - b);
  return [1000 * steps.length / (times[times.length - 1] - times[0]), steps[Math.floor(steps.length * 0.95)]];
}"""


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_frames_while_it_plays(
    benchmark: BenchmarkFixture, pages: Pages, large: Path, print_table: Callable[[str], None], size: str
) -> None:
    page = opened(pages, large, size)
    page.page.locator("#plots figure").nth(1).scroll_into_view_if_needed()
    page.page.keyboard.press("Space")
    per_second, slow = benchmark.pedantic(lambda: page.page.evaluate(FRAMES, SECONDS), rounds=1)
    print_table(f"{per_second:.0f} frames/s at {size}; 19 of 20 frames within {slow:.0f} ms")


# moves the moment from one frame to the next over the whole run, as a hand that drags does
DRAG = """async (seconds) => {
  const times = [];
  const begun = performance.now();
  for (let now = begun; now - begun < seconds * 1000; times.push(now)) {
    const share = ((now - begun) / (seconds * 1000) + 0.31) % 1;
    report.goTo(report.begins + share * (report.ends - report.begins));
    now = await new Promise(requestAnimationFrame);
  }
  const steps = times.slice(1).map((t, i) => t - times[i]).sort((a, b) => a - b);
  return [1000 * steps.length / (times[times.length - 1] - times[0]), steps[Math.floor(steps.length * 0.95)]];
}"""


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_frames_while_it_is_dragged(
    benchmark: BenchmarkFixture, pages: Pages, large: Path, print_table: Callable[[str], None], size: str
) -> None:
    page = opened(pages, large, size)
    per_second, slow = benchmark.pedantic(lambda: page.page.evaluate(DRAG, SECONDS), rounds=1)
    print_table(f"{per_second:.0f} frames/s at {size}; 19 of 20 frames within {slow:.0f} ms")
