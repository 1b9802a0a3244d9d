"""A report in the browser: moving through its time, and reading back what it says."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from support.browser import Pages, Scheme

# a frame later everything that was asked for is drawn, unless columns are still being unpacked
_SETTLED = """async () => {
  for (let i = 0; i < 200; i++) {
    await new Promise(requestAnimationFrame);
    const loaded = report.runs.every((run) => run.asked.every((asked, c) => !asked || run.filled[c]));
    if (loaded && !report.waiting && i > 1) return;
  }
  throw new Error("the page is never done drawing");
}"""

# a window this high has all plots in sight
ALL_PLOTS = {"width": 900, "height": 6000}


@dataclass
class Leafs:
    """One bar of a guard, as it stands on the page."""

    words: str
    number: str
    margin: float
    truth: int


class ReportPage:
    """An opened report."""

    def __init__(self, page: Page) -> None:
        self.page = page
        page.wait_for_selector("html.ready")
        self.settle()

    def settle(self) -> None:
        """Wait until the page shows the moment that it was asked for."""
        self.page.evaluate(_SETTLED)

    def go(self, at_ms: float) -> None:
        """Look at a moment."""
        self.page.evaluate("(at) => report.goTo(at)", at_ms)
        self.settle()

    def press(self, key: str) -> None:
        """Press a key and wait for what comes of it."""
        self.page.keyboard.press(key)
        self.settle()

    def click(self, selector: str, nth: int = 0) -> None:
        """Click an element and wait for what comes of it."""
        self.page.locator(selector).nth(nth).click()
        self.settle()

    @property
    def at_ms(self) -> float:
        """The moment that the page says it shows."""
        value = self.page.get_attribute("#ribbon", "aria-valuenow")
        assert value is not None
        return float(value)

    def text(self, selector: str) -> str:
        """Give the text of the first such element, as it is seen."""
        return self.page.locator(selector).first.inner_text().strip()

    def texts(self, selector: str) -> list[str]:
        """Give the texts of all such elements."""
        return [text.strip() for text in self.page.locator(selector).all_inner_texts()]

    def bars(self) -> list[list[Leafs]]:
        """Read the bars of the active phases' guards, guard by guard."""
        read = self.page.evaluate("""() => [...document.querySelectorAll("#why-bars .guard")].map((guard) =>
          [...guard.querySelectorAll(".bar-row")].map((row) => ({
            words: row.querySelector(".bar-words").textContent,
            number: row.querySelector(".bar-number").textContent,
            margin: row.querySelector(".bar-number").dataset.margin,
            truth: Number(row.dataset.truth),
          })))""")
        return [
            [Leafs(row["words"], row["number"], number(row["margin"]), row["truth"]) for row in guard]
            for guard in read
        ]

    def plotted(self) -> list[tuple[str, list[tuple[str, float]]]]:
        """Read the numbers at the moment in every plot's legend: (plot, [(line, number)])."""
        read = self.page.evaluate("""() => [...document.querySelectorAll("#plots figure")].map((figure) => [
          figure.querySelector("figcaption bdi").textContent,
          [...figure.querySelectorAll(".legend li")].map((line) =>
            [line.querySelector("bdi").textContent, line.querySelector("data").value])])""")
        return [(title, [(name, number(value)) for name, value in lines]) for title, lines in read]

    def moves(self) -> list[list[str]]:
        """Read the whole table of transitions, page after page."""
        self.press("Home")
        rows: list[list[str]] = []
        while True:
            rows += self.page.evaluate("""() => [...document.querySelectorAll("#moves-body tr")].map((row) =>
              [...row.cells].map((cell) => cell.textContent))""")
            later = self.page.locator("#moves-later")
            if later.is_disabled():
                return rows
            later.click()

    def marked_lines(self, kind: str) -> list[int]:
        """Give the numbers of the first file's lines that are marked `active` or `asked`."""
        ids = self.page.evaluate(
            "(kind) => [...document.querySelectorAll(`.line.${kind}`)].map((line) => line.id)", kind
        )
        return [int(name.split("_")[2]) for name in ids if name.startswith("line_0_")]

    def document(self) -> dict[str, Any]:
        """Give the document in the page."""
        read = json.loads(self.page.evaluate("document.getElementById('document').textContent"))
        assert isinstance(read, dict)
        return read


def number(text: str) -> float:
    """Read a number as scripts write it."""
    return float("nan" if text in ("", "NaN") else text)


def opened(
    pages: Pages, path: Path, size: str = "desk", scheme: Scheme = "light", **options: bool
) -> ReportPage:
    """Open a report."""
    return ReportPage(pages.open(path, size, scheme, **options))
