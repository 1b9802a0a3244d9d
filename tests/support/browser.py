"""A real browser (Debian's Chromium, headless) for pages that are one file, and a watch over what they do.

A page that asks for anything but itself, prints to the console or meets an error fails the test that opened
it, also if the test looks at something else.
"""

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

REPOSITORY = Path(__file__).resolve().parents[2]
RESULTS = REPOSITORY / "tests" / "results" / "page"  # pictures, for people; not in git
Scheme = Literal["light", "dark"]
SIZES = {"phone": (360, 740), "tablet": (800, 1100), "desk": (1440, 900)}
SCHEMES: tuple[Scheme, ...] = ("light", "dark")


@dataclass
class Watched:
    """What a page did that it should not."""

    address: str
    requests: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    def troubles(self) -> list[str]:
        """Give all of it, each as a line."""
        asked = [f"asked for {address}" for address in self.requests if address != self.address]
        return asked + self.said


Opener = Callable[..., Page]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium, started once for each process that runs tests."""
    program = shutil.which("chromium")
    if program is None:
        pytest.fail("chromium is missing: apt-get install chromium (tests/run does it)", pytrace=False)
    with sync_playwright() as playwright:
        # as root there is no sandbox; the pages are our own
        started = playwright.chromium.launch(
            executable_path=program, chromium_sandbox=os.geteuid() != 0, args=["--disable-dev-shm-usage"]
        )
        yield started
        started.close()


@dataclass
class Pages:
    """Opens pages and keeps watch over them."""

    browser: Browser
    contexts: list[BrowserContext] = field(default_factory=list)
    watched: list[Watched] = field(default_factory=list)

    def open(
        self,
        path: Path,
        size: str = "desk",
        scheme: Scheme = "light",
        *,
        reduced_motion: bool = False,
        scripts: bool = True,
        touch: bool = False,
    ) -> Page:
        """Open a file as a reader does who is offline, and wait until it has loaded."""
        width, height = SIZES[size]
        context = self.browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            reduced_motion="reduce" if reduced_motion else "no-preference",
            offline=True,
            java_script_enabled=scripts,
            has_touch=touch,
        )
        self.contexts.append(context)
        watched = Watched(path.resolve().as_uri())
        self.watched.append(watched)
        context.on("request", lambda request: watched.requests.append(request.url))
        context.on("console", lambda message: watched.said.append(f"console {message.type}: {message.text}"))
        context.on("weberror", lambda error: watched.said.append(f"error: {error.error}"))
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.goto(watched.address)
        return page

    def troubles(self) -> list[str]:
        """Give what all pages did that they should not, and forget it."""
        found = [trouble for watched in self.watched for trouble in watched.troubles()]
        self.watched.clear()
        return found

    def close(self) -> None:
        """Close all pages."""
        for context in self.contexts:
            context.close()
        self.contexts.clear()


@pytest.fixture
def pages(browser: Browser) -> Iterator[Pages]:
    """Open pages with `pages.open(path, size, scheme)`; what they do wrong fails the test at its end."""
    opened = Pages(browser)
    yield opened
    opened.close()
    assert opened.troubles() == []


EVERYTHING_IN_SIGHT = """() => {  // what is out of sight has neither places nor drawings yet
  const all = new CSSStyleSheet();
  all.replaceSync("* { content-visibility: visible !important; }");
  document.adoptedStyleSheets = [all];
  return document.documentElement.scrollHeight;
}"""


def keep_picture(page: Page, name: str, *, whole: bool = True) -> Path:
    """Keep a picture of a page under tests/results/page, for people to look at."""
    RESULTS.mkdir(parents=True, exist_ok=True)
    path = RESULTS / f"{name}.png"
    window = page.viewport_size
    if whole and window:
        height = page.evaluate(EVERYTHING_IN_SIGHT)
        page.set_viewport_size({"width": window["width"], "height": height})
        page.wait_for_timeout(200)
    page.screenshot(path=path)
    if whole and window:
        page.set_viewport_size(window)
    return path
