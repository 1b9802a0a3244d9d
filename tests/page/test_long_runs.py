"""A run too long to keep whole: the narrowest spike is still drawn; where ticks are kept they are true."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from support.browser import Pages
from support.long_recordings import GAIT, TICK_MS, write_csv
from support.report_page import ReportPage, opened
from support.reports import Shown

import sequencer
from sequencer.history.run import Run
from sequencer.show.report import thin
from sequencer.show.report.build import report_document
from sequencer.show.report.recorded import RunSource

TICKS = 60_000
BUDGET = 200_000  # numbers; eight columns are drawn
SPIKE, SPIKED = 59.0, "s5"  # nothing asks for s5; the others stay below


def long_run(folder: Path, spike_at: int | None) -> tuple[Run, Shown]:
    path = folder / f"long{spike_at}.csv"
    write_csv(path, TICKS)
    lines = path.read_text().splitlines()
    column = lines[0].replace('"', "").split(",").index(SPIKED)
    rows = [line.split(",") for line in lines[1:]]
    for row in rows:
        row[column] = f"{float(row[column]) / 10:.3f}"
    if spike_at is not None:
        rows[spike_at][column] = str(SPIKE)
    path.write_text("\n".join([lines[0], *map(",".join, rows)]) + "\n")
    gait = sequencer.loads(GAIT)
    run = gait.dry_run(path, executor="reference")
    return run, Shown(gait, (run,), report_document(gait.plan, [RunSource(path.name, run)]))


def middle_of_the_longest_gap(windows: list[tuple[int, int]]) -> int:
    """A tick far from all that is kept."""
    length, start = max((after[0] - before[1], before[1]) for before, after in pairwise(windows))
    assert length > 200
    return start + length // 2


@pytest.fixture(scope="module")
def long_page(tmp_path_factory: pytest.TempPathFactory) -> tuple[Run, Shown, int, Path]:
    folder = tmp_path_factory.mktemp("long")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(thin, "MOST_NUMBERS", BUDGET)
        _, plain = long_run(folder, None)
        spike_at = middle_of_the_longest_gap(plain.document.runs[0].kept.windows)
        run, report = long_run(folder, spike_at)
    assert report.document.runs[0].kept.bucket > 1
    return run, report, spike_at, report.write(folder / "long.html")


def drawn(page: ReportPage, column: int) -> list[float]:
    """The numbers that a plot draws of a column in the stretch that is shown."""
    found = page.page.evaluate(
        """async (column) => {
          await report.runs[0].load(column);
          const one = sample(report.runs[0], [column], report.from, report.to, 1000);
          return one.ys[0].filter((y) => y !== null).concat(one.boxes.flatMap((b) => [b.least, b.most]));
        }""",
        column,
    )
    assert isinstance(found, list)
    return found


# in how many of a plot's columns of pixels a colour is seen in the upper half, as a share
UPPER_HALF = """([title, colour]) => {
  const figure = [...document.querySelectorAll("#plots figure")].find((f) =>
    [...f.querySelectorAll(".legend bdi")].some((b) => b.textContent === title));
  const canvas = figure.querySelector("canvas"), area = figure.querySelector(".u-over");
  const scale = canvas.width / canvas.clientWidth;
  const copy = new OffscreenCanvas(canvas.width, canvas.height);
  const pen = copy.getContext("2d", { willReadFrequently: true });
  pen.drawImage(canvas, 0, 0);
  const [width, height] = [area.clientWidth * scale, area.clientHeight * scale].map(Math.floor);
  const { data } = pen.getImageData(area.offsetLeft * scale, area.offsetTop * scale, width, height / 2);
  const wanted = getComputedStyle(document.documentElement).getPropertyValue(colour).trim();
  const [r, g, b] = [1, 3, 5].map((i) => parseInt(wanted.slice(i, i + 2), 16));
  const columns = new Set();
  for (let i = 0; i < data.length; i += 4) {
    const far = Math.abs(data[i] - r) + Math.abs(data[i + 1] - g) + Math.abs(data[i + 2] - b);
    if (far < 60) columns.add((i / 4) % width);
  }
  return columns.size / width;
}"""


def colour_of(page: ReportPage, line: str) -> str:
    stroke = page.page.evaluate(
        """(line) => [...document.querySelectorAll("#plots .legend li")]
          .find((li) => li.querySelector("bdi").textContent === line)
          .querySelector("svg line").style.stroke""",
        line,
    )
    assert isinstance(stroke, str)
    return stroke.removeprefix("var(").removesuffix(")")


def test_a_spike_of_one_tick_is_drawn_when_the_whole_run_is_shown(
    pages: Pages, long_page: tuple[Run, Shown, int, Path]
) -> None:
    _, report, spike_at, path = long_page
    column = [c.name for c in report.document.runs[0].columns].index(SPIKED)
    page = opened(pages, path)
    page.page.set_viewport_size({"width": 1000, "height": 5000})
    page.press("0")
    assert page.page.evaluate("report.to - report.from") == (TICKS - 1) * TICK_MS
    assert max(drawn(page, column)) == SPIKE
    # it alone reaches up there, a pixel or two wide
    assert 0 < page.page.evaluate(UPPER_HALF, [SPIKED, colour_of(page, SPIKED)]) < 0.01
    # without it the plot is another: the rest of the signal fills its height
    page.page.evaluate(
        """([column, bucket]) => {
          const { most } = report.runs[0].filled[column];
          most[bucket] = most[bucket - 1];
          report.drawSoon();
        }""",
        [column, spike_at // report.document.runs[0].kept.bucket],
    )
    page.settle()
    assert max(drawn(page, column)) < SPIKE / 3
    assert page.page.evaluate(UPPER_HALF, [SPIKED, colour_of(page, SPIKED)]) > 0.5


def test_where_ticks_are_kept_the_true_samples_are_drawn(
    pages: Pages, long_page: tuple[Run, Shown, int, Path]
) -> None:
    run, report, _, path = long_page
    assert run.history is not None and run.history.detail is not None
    signals = run.history.detail.signal
    column = [c.name for c in report.document.runs[0].columns].index(SPIKED)
    signal = [s.name for s in run.plan.signals].index(SPIKED)
    page = opened(pages, path)
    for start, to in report.document.runs[0].kept.windows[:2]:
        first, last = start + 20, min(to, start + 220) - 20
        page.page.evaluate("([from, to]) => report.show(from, to - from)", [first * TICK_MS, last * TICK_MS])
        page.settle()
        got = np.array(drawn(page, column), np.float32)
        want = signals[first - 1 : last + 2, signal]
        assert got.tobytes() == want.tobytes()
        assert not page.page.locator(".plot-note").first.is_visible()


def test_where_only_ends_are_kept_the_page_says_so(
    pages: Pages, long_page: tuple[Run, Shown, int, Path]
) -> None:
    run, report, spike_at, path = long_page
    assert run.history is not None and run.history.detail is not None
    size = report.document.runs[0].kept.bucket
    signal = [s.name for s in run.plan.signals].index(SPIKED)
    page = opened(pages, path)
    page.page.set_viewport_size({"width": 1000, "height": 5000})
    page.page.evaluate(
        "([from, to]) => report.show(from, to - from)",
        [(spike_at - 40) * TICK_MS, (spike_at + 40) * TICK_MS],
    )
    page.go(spike_at * TICK_MS)
    assert "least and greatest" in page.text(".plot-note")
    bucket = spike_at // size
    rows = run.history.detail.signal[bucket * size : (bucket + 1) * size, signal]
    [said] = page.page.evaluate(
        """(name) => [...document.querySelectorAll("#plots .legend li")]
          .filter((li) => li.querySelector("bdi").textContent === name)
          .map((li) => li.querySelector("data").textContent)""",
        SPIKED,
    )
    least, most = (float(text) for text in said.split(" to "))
    assert least == pytest.approx(float(rows.min()), abs=0.06)
    assert most == SPIKE
