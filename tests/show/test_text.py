import io

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from sequencer.show.text import Style, clean, pad, style_for, table, width


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain", "plain"),
        ("red\x1b[31m", "red[31m"),
        ("a\u202egnp.exe", "agnp.exe"),
        ("a\u2066b\u2069c\u200f\u061c", "abc"),
        ("bell\x07 nul\x00 delete\x7f c1\x9b", "bell nul delete c1"),
        ("two\nlines\r\nthree", "two lines three"),
        ("a\u2028b\u2029", "ab"),
        ("tab\there", "tab    here"),
        ("lone \ud800 surrogate", "lone  surrogate"),
        ("Fuß 左 é", "Fuß 左 é"),
    ],
)
def test_what_could_move_the_cursor_or_turn_the_reading_direction_is_left_out(text: str, shown: str) -> None:
    assert clean(text) == shown


@given(st.text())
def test_cleaned_text_can_be_encoded_and_holds_nothing_that_controls(text: str) -> None:
    shown = clean(text)
    assert clean(shown) == shown
    shown.encode("utf-8")
    assert not any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 for c in shown)


# reference: rich's table of cell widths, made from the Unicode Character Database (UAX 11)
@pytest.mark.parametrize(
    "text", ["knee", "左膝", "é", "e\u0301", "\uff46\uff55\uff4c\uff4c", "한글", "Ω°µ", "🦀", "a左b"]
)
def test_widths_are_those_of_the_unicode_tables(text: str) -> None:
    assert width(text) == cell_len(text)


def test_padding_counts_terminal_columns() -> None:
    assert pad("左", 4) == "左  "
    assert pad("12", 4, right=True) == "  12"


def test_a_table_lines_up_under_wide_names() -> None:
    lines = table(("phase", "s"), [("左膝", "1.20"), ("lift", "11.05")], right=frozenset({1}))
    assert lines == ["phase      s", "左膝    1.20", "lift   11.05"]


def test_no_colour_in_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm")
    assert not style_for(io.StringIO()).colour
    assert style_for(Terminal()).colour


# reference: no-color.org, "when present and not an empty string (regardless of its value)"
@pytest.mark.parametrize(("value", "colour"), [("1", False), ("0", False), ("", True)])
def test_no_color_turns_colour_off_unless_it_is_empty(
    monkeypatch: pytest.MonkeyPatch, value: str, colour: bool
) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("NO_COLOR", value)
    assert style_for(Terminal()).colour is colour


def test_a_dumb_terminal_gets_no_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb")
    assert not style_for(Terminal()).colour


def test_colour_wraps_the_text_only() -> None:
    assert Style(colour=True)("x", "red", "bold") == "\x1b[31;1mx\x1b[0m"
    assert Style(colour=False)("x", "red", "bold") == "x"
