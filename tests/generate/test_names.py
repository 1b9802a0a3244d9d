"""What names and texts of a gait become in C++."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.feature_plans import feature_plans

from sequencer.base.errors import MisuseError
from sequencer.base.places import Place
from sequencer.generate.layout import lay_out
from sequencer.generate.names import bare_names, comment, prefixed_names, slugs, where
from sequencer.generate.render import generate, view_of


def test_keywords_and_macros_get_an_underscore_and_stay_apart() -> None:
    assert bare_names(["int", "int_", "PI", "stance"]) == ["int_", "int_2", "PI_", "stance"]


def test_names_that_would_meet_behind_a_prefix_are_numbered() -> None:
    assert prefixed_names("signal", ["a__b", "a_b", "a_b_2", "_a_b_"]) == [
        "signal_a_b",
        "signal_a_b_3",
        "signal_a_b_2",
        "signal_a_b_4",
    ]


def test_names_of_rules_become_words() -> None:
    assert slugs("rule", ["Füße am Boden!", "", "??"]) == ["rule_Fue_am_Boden", "rule_x", "rule_x_2"]
    assert all(len(name) < 64 for name in slugs("rule", ["x" * 200, "x" * 200]))


@given(st.lists(st.from_regex(r"[A-Za-z_][A-Za-z0-9_]{0,4}", fullmatch=True), unique=True, max_size=12))
def test_spelled_names_differ_and_are_not_reserved(names: list[str]) -> None:
    for spelled in (bare_names(names), prefixed_names("x", names)):
        assert len(set(spelled)) == len(names)
        assert not any("__" in name or name.startswith("_") for name in spelled)


@given(st.text())
def test_a_comment_can_end_or_open_nothing(text: str) -> None:
    made = comment(text)
    assert made.isascii()
    assert made == "" or made.isprintable()
    assert not any(bad in made for bad in ("\\", "??", "*/", "/*", "\n"))


@pytest.mark.parametrize(
    ("text", "made"),
    [
        ("ends in a backslash \\", "ends in a backslash /"),
        ("??/", "? ?/"),
        ("a */ b /* c", "a * / b / * c"),
        ("\u202eright to left", "right to left"),
        ("two\r\nlines\u2028or three", "two lines or three"),
        ("\x1b[31mred", "[31mred"),
    ],
)
def test_texts_that_try_to_leave_their_comment(text: str, made: str) -> None:
    assert comment(text) == made


def test_a_place_holds_no_folder() -> None:
    assert where(Place("/srv/someone/walks/stork.gait.yaml", 3, 7)) == "stork.gait.yaml:3:7"
    assert where(Place("C:\\walks\\stork.gait.yaml", 3, 7)) == "stork.gait.yaml:3:7"


@pytest.mark.parametrize("name", ["", "a-b", "a b", "1a", "größe", 'a"', "a\n", "a;b", "a::b"])
def test_a_name_that_is_no_identifier_never_reaches_cpp(name: str) -> None:
    plan = feature_plans()["comparisons"]
    signal = replace(plan.signals[0], name=name)
    for bad in (replace(plan, name=name), replace(plan, signals=(signal, *plan.signals[1:]))):
        with pytest.raises(MisuseError, match="cannot stand in generated code"):
            generate(bad)


def test_odd_texts_stay_in_their_comments() -> None:
    for text in generate(feature_plans()["odd_names"]).values():
        for line in text.splitlines():
            assert "#error" not in line.partition("//")[0] or line.startswith('#error "build')
            assert not line.endswith("\\")
            assert "/home" not in line


def test_no_record_for_templates_has_a_name_that_a_dictionary_has_too() -> None:
    """Templates say g.name; a dictionary's own methods would come first."""

    def check(thing: object) -> None:
        if isinstance(thing, dict):
            assert not set(thing) & set(dir(dict)), set(thing) & set(dir(dict))
            for value in thing.values():
                check(value)
        elif isinstance(thing, list | tuple):
            for value in thing:
                check(value)

    for plan in feature_plans().values():
        check(view_of(plan))
        assert lay_out(plan).gait == plan.name
