"""What names and texts of a gait become in C++."""

import re
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.builds import write_files
from support.feature_plans import feature_plans
from support.loops import loop, output, supply
from support.plans import Phase, at_least, event, make_plan, parameter, reached, setpoint, signal
from support.strict import STRICT

from sequencer.base.errors import MisuseError
from sequencer.base.places import Place
from sequencer.gait.reserved import LIBRARY_HEADERS, LIBRARY_THINGS
from sequencer.generate.layout import lay_out
from sequencer.generate.names import bare_names, comment, file_stem, prefixed_names, slugs, where
from sequencer.generate.render import generate, view_of
from sequencer.plan.tables import ActsIn


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


# the C library of this machine and that of an 8-bit controller
SYSTEM_HEADERS = {
    (
        "g++",
    ): "errno fenv inttypes math setjmp signal stdio stdlib string time unistd fcntl strings sys/socket "
    "sys/select sys/stat sys/ioctl sys/time sys/file",
    ("avr-g++", "-mmcu=atmega328p", "-DF_CPU=16000000UL", "-Os"): "ctype inttypes math setjmp stdio stdlib "
    "string time avr/io avr/interrupt avr/pgmspace avr/eeprom avr/sleep util/delay",
}


@pytest.mark.parametrize(("command", "names"), SYSTEM_HEADERS.items(), ids=["g++", "avr-g++"])
def test_no_gait_hides_or_meets_the_c_library(command: tuple[str, ...], names: str) -> None:
    includes = "".join(f"#include <{name}.h>\n" for name in names.split())

    def errors(namespaces: list[str]) -> str:
        text = includes + "".join(f"namespace {name} {{}}\n" for name in namespaces)
        call = [*command, "-std=gnu++11", "-fsyntax-only", "-x", "c++", "-"]
        return subprocess.run(call, input=text, capture_output=True, text=True, check=False).stderr

    assert errors([file_stem(name) for name in sorted(LIBRARY_THINGS)]) == ""
    assert len(re.findall("error: ", errors(sorted(LIBRARY_THINGS)))) > 30  # so they are needed
    for name in [*LIBRARY_HEADERS, "String", "Arduino"]:
        assert f"{file_stem(name)}.h".lower() not in {f"{header}.h" for header in LIBRARY_HEADERS}


# what the templates, boards and C libraries call things; the loader lets all of them pass
CLASHING = """tick state value count reset begin State Inputs Truth yes no unknown known truth
    phase since Phase Sequence Signal Events Pulses Switches cause Cause to stay in s tick_ms
    event_tick switch_s pulse_count signal time string math B1 A0 t0_0 everyone fires_0 level
    product latch is_seen on_transition name_of PORTB Serial1 exp y1 index target setpoint last
    kept broken by_guard no_change not_fresh drives restart NAN INFINITY""".split()


CLASHING_WITH_LOOPS = """Loop Output OutputState Machine loop output correction state_of of on off stalled cut
    runs news turn supply given authority forget moved limited faded multiplied is_number smooth x v r e p i
    d m run_loop drive_output acts default""".split()


@pytest.mark.parametrize("command", STRICT.values(), ids=STRICT)
def test_names_of_loops_and_outputs_clash_with_nothing(command: list[str], tmp_path: Path) -> None:
    names = [*CLASHING_WITH_LOOPS, *CLASHING]
    plan = make_plan(
        {"Machine": [Phase(name, [("Loop", event("Machine"))], pulse=["Output"]) for name in names]},
        signals=[signal(name) for name in names],
        setpoints=[setpoint(name) for name in names],
        events=["Machine", "state"],
        pulses=["Output"],
        loops=[
            loop(name, output=i, fade_step=0.5, acts_in=(ActsIn(0, (i, 0)),)) for i, name in enumerate(names)
        ],
        outputs=[output(name, loops=(i,), supply=supply(i, 12)) for i, name in enumerate(names)],
    )
    write_files(generate(replace(plan, name="Machine")).items(), tmp_path)
    for source in ("Machine.cpp", "Machine_loops.cpp"):
        call = [*command, "-fsyntax-only", source]
        done = subprocess.run(call, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr[:2000]


@pytest.mark.parametrize("command", STRICT.values(), ids=STRICT)
def test_names_of_the_templates_and_of_boards_clash_with_nothing(command: list[str], tmp_path: Path) -> None:
    following = dict(zip(CLASHING, CLASHING[1:] + CLASHING[:1], strict=True))
    sequences = {
        sequence: [
            Phase(
                name,
                [(following[name], event("tick")), (name, at_least(name, 1)), (name, reached(name, 1))],
                set={name: 1.0} if sequence == "tick" else {},
                pulse=["tick"],
            )
            for name in CLASHING
        ]
        for sequence in ("tick", "Events", "state")
    }
    plan = make_plan(
        sequences,
        signals=[signal(name, lost_after_ms=100_000) for name in CLASHING],
        setpoints=[setpoint(name, step=1.0, followers=[(0, 0.0)]) for name in CLASHING],
        parameters=[parameter(name, 1) for name in CLASHING],
        events=CLASHING[:32],
        switches=CLASHING[:32],
        pulses=CLASHING[:32],
    )
    for name, text in generate(replace(plan, name="tick"), "portable").items():
        (tmp_path / name).write_text(text, encoding="ascii")
    call = [*command, "-fsyntax-only", "tick.cpp"]
    done = subprocess.run(call, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[:2000]
