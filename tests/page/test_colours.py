"""What is drawn on canvases, which no checker can read, has enough contrast in both schemes.

Contrast as in the W3C's Web Content Accessibility Guidelines 2.2 (relative luminance; criteria 1.4.3: 4.5 to
1 for text, 1.4.11: 3 to 1 for what must be seen to understand).
"""

from pathlib import Path

import pytest
from support.browser import SCHEMES, Pages, Scheme, keep_picture
from support.report_page import opened
from support.reports import shown

TEXT = [
    ("text", "band-a"),
    ("text", "band-b"),
    ("text", "rest"),
    ("stop-text", "stop"),
    ("soft", "paper"),
    ("soft", "sheet"),
    ("paper", "alarm"),  # letters in the troubles' shapes
    ("paper", "text"),
    ("hold", "plot-a"),
    ("hold", "plot-b"),
    ("hold", "plot-stop"),
]
SHAPES = [
    ("left-foot", "paper"),
    ("right-foot", "paper"),
    ("alarm", "paper"),
    ("now", "paper"),
    *((drawn, band) for drawn in ("mark", "text") for band in ("plot-a", "plot-b", "plot-stop")),
    *((f"line-{n}", band) for n in range(1, 7) for band in ("plot-a", "plot-b", "plot-stop")),
]


def luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb".

    >>> round(luminance("#ffffff"), 3), luminance("#000000")
    (1.0, 0.0)
    """
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def too_faint(colours: dict[str, str]) -> list[str]:
    """Pairs of colours that are too near each other."""
    return [
        f"{one} on {other}: {contrast(colours[one], colours[other]):.2f}"
        for pairs, least in ((TEXT, 4.5), (SHAPES, 3.0))
        for one, other in pairs
        if contrast(colours[one], colours[other]) < least
    ]


@pytest.mark.parametrize("scheme", SCHEMES)
def test_what_is_drawn_can_be_told_from_what_is_behind_it(
    pages: Pages, tmp_path: Path, scheme: Scheme
) -> None:
    report = opened(pages, shown("foot_stuck.csv").write(tmp_path / "stuck.html"), scheme=scheme)
    names = sorted({name for pair in TEXT + SHAPES for name in pair})
    colours = report.page.evaluate(
        """(names) => Object.fromEntries(names.map((name) =>
          [name, getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim()]))""",
        names,
    )
    assert all(colour.startswith("#") and len(colour) == 7 for colour in colours.values()), colours
    assert too_faint(colours) == []
    assert too_faint({**colours, "text": colours["band-a"]}) != []


def test_the_formula_gives_the_known_ends_and_a_known_grey() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # widely quoted: just fails 4.5


# what tells the lines of each plot apart besides their colours
SAMPLES = """() => [...document.querySelectorAll("#plots figure")].map((figure) =>
  [...figure.querySelectorAll(".legend li svg")].map((svg) => [...svg.children].map((part) =>
    [part.tagName, ...[...part.attributes].filter((a) => !/style|class|fill|stroke$/.test(a.name))
      .map((a) => `${a.name}=${a.value}`)].join(" ")).join("; ")))"""


def alike(plots: list[list[str]]) -> list[list[str]]:
    """Plots in which two lines look the same but for their colour."""
    return [lines for lines in plots if len(set(lines)) < len(lines)]


def test_lines_that_look_alike_are_found() -> None:
    assert alike([["a", "b"], ["line", "circle", "line"]]) == [["line", "circle", "line"]]


@pytest.mark.parametrize("names", [("walk.csv",), ("walk.csv", "foot_stuck.csv")], ids=["one", "two"])
def test_lines_of_a_plot_differ_by_more_than_their_colour(
    pages: Pages, tmp_path: Path, names: tuple[str, ...]
) -> None:
    report = opened(pages, shown(*names).write(tmp_path / "lines.html"))
    plots = report.page.evaluate(SAMPLES)
    assert max(len(lines) for lines in plots) >= 4 * len(names)
    assert alike(plots) == []
    # seen without any colour, for people to look at
    client = report.page.context.new_cdp_session(report.page)
    client.send("Emulation.setEmulatedVisionDeficiency", {"type": "achromatopsia"})
    report.page.locator("#plots figure").first.scroll_into_view_if_needed()
    report.settle()
    keep_picture(report.page, f"without-colour-{len(names)}", whole=False)
