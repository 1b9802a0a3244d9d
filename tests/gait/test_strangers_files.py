"""Whatever a file holds, loading it gives a plan or findings with places inside the file; nothing else."""

from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.commands import REPOSITORY
from support.gaits import errors_in, gait

from sequencer.base.errors import FileErrors
from sequencer.base.findings import Finding
from sequencer.gait import expand
from sequencer.plan.build import load_plan

STORK = REPOSITORY / "examples" / "stork"
GAIT = (STORK / "stork.gait.yaml").read_text(encoding="utf-8")
MACHINE = (STORK / "stork.machine.yaml").read_text(encoding="utf-8")
INLINE = GAIT.replace(
    "machine: stork.machine.yaml\n",
    "machine:\n" + "".join(f"  {line}\n" if line else "\n" for line in MACHINE.splitlines()),
)
SEQUENCES = """\
gait: crawl
machine:
  tick: 10 ms
  signals: {<leg>_load: {for_each: {leg: [lf, rf]}, unit: N, span: [0, 50]}}
  events: [go, halt]
  setpoints:
    <leg>_lift:
      {for_each: {leg: [lf, rf]}, unit: mm, span: [0, 30], start: 0 mm, rate: {of: 9 mm/s, times: fast}}
  outputs: {<leg>_motor: {for_each: {leg: [lf, rf]}, span: [-1, 1]}, horn: {pulse: true}}
  loops: {<leg>: {for_each: {leg: [lf, rf]}, setpoint: [0 N], signal: <leg>_load, kp: 1, output: <leg>_motor}}
parameters: {fast: {value: 1, span: [0.5, 2]}}
counters: [steps]
parts:
  raise:
    takes: [leg]
    phases: {up_<leg>: {set: {<leg>_lift: 9 mm}, leave: [{to: <then>, when: {event: go}}]}}
sequences:
  <leg>:
    for_each: {leg: [lf, rf], other: [rf, lf]}
    phases:
      down: {rest: true, leave: [{to: up, when: {sequence: <other>, in: [down]}, hold: 20 ms}]}
      up: {use: raise, with: {leg: <leg>}, then: down}
      safe: {stop: 1}
anywhere: [{to: safe, when: {event: halt}}]
"""


def lines_of(path: Path) -> list[str]:
    text = path.read_bytes().removeprefix(b"\xef\xbb\xbf").decode("utf-8", "replace")
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def assert_clean(finding: Finding, files: list[Path]) -> None:
    path = Path(finding.place.file)
    assert path in files, finding
    lines = lines_of(path)
    assert 1 <= finding.place.line <= len(lines), finding
    assert 1 <= finding.place.column <= len(lines[finding.place.line - 1]) + 1, finding
    assert finding.message
    assert "\n" not in finding.message
    assert len(finding.message) < 400


def judge(folder: Path, data: bytes) -> None:
    """Load a gait file of these bytes beside the stork's machine file."""
    path, machine = folder / "walk.gait.yaml", folder / "stork.machine.yaml"
    path.write_bytes(data)
    machine.write_text(MACHINE, encoding="utf-8")
    try:
        load_plan(path)
    except FileErrors as error:
        assert error.findings
        for finding in error.findings:
            assert_clean(finding, [path, machine])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("strangers")


def test_the_gaits_to_be_changed_are_sound(folder: Path) -> None:
    for text in (GAIT, INLINE, SEQUENCES):
        (folder / "stork.machine.yaml").write_text(MACHINE, encoding="utf-8")
        (folder / "walk.gait.yaml").write_text(text, encoding="utf-8")
        assert load_plan(folder / "walk.gait.yaml").sequences


@given(data=st.binary(max_size=300))
@example(data=b"gait: a\xff")
def test_random_bytes(folder: Path, data: bytes) -> None:
    judge(folder, data)


@given(text=st.text(max_size=200))
def test_random_text(folder: Path, text: str) -> None:
    judge(folder, text.encode("utf-8", "surrogatepass"))


# a piece in each line, and a line end, which stands for itself
PIECES = st.sampled_from(
    [
        "\n",
        *"""[ ] { } : , - ~ | > ? % # ' " & * *a &a !!str null true yes never 0 -1 -0 1e309 .inf [key]
        <side> <leg> <then> left lean halt safe remote when all not for_each use of plus in stop signal
        \u2028 \ufeff \U0001f600""".split(),
        *("- ", ": ", "  ", "\t", "\r", "5 mm", "5 deg", "9 s", "3 samples", "1e30 h"),
    ]
)


@st.composite
def changed(draw: st.DrawFn) -> str:
    """One of the sound gaits with pieces cut out, put in, exchanged or doubled."""
    text = draw(st.sampled_from([GAIT, INLINE, SEQUENCES]))
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 30)))
        kind = draw(st.sampled_from(["put in", "exchange", "cut", "double", "move"]))
        if kind == "put in":
            text = text[:start] + draw(PIECES) + text[start:]
        elif kind == "exchange":
            text = text[:start] + draw(PIECES) + text[end:]
        elif kind == "cut":
            text = text[:start] + text[end:]
        elif kind == "double":
            text = text[:end] + text[start:end] + text[end:]
        else:
            rest = text[:start] + text[end:]
            at = draw(st.integers(0, len(rest)))
            text = rest[:at] + text[start:end] + rest[at:]
    return text


@settings(max_examples=400)
@given(text=changed())
def test_sound_files_with_random_changes(folder: Path, text: str) -> None:
    judge(folder, text.encode())


SCALARS = st.sampled_from(
    [
        *"""~ 0 -1 1e30 true '1' [] {} [1] [[]] [~] left_knee remote inline never '[key]' "-" """.split(),
        "nobody",
        '"a\\0b"',
        *(
            "",
            "[a, b]",
            "{a: b}",
            "5 deg",
            "-5 mm",
            "7 s",
            "1e300 h",
            "9 samples",
            "1e-60 deg",
            "1e-60 deg/s",
        ),
        *("{of: lift, plus: 1 mm}", "{of: lift}", "[5 deg, 6 deg]", "{event: go}", "{all: []}"),
        *("{for_each: {a: [b]}}", "{for_each: ~}", "{not: {not: ~}}"),
    ]
)


@st.composite
def other_values(draw: st.DrawFn) -> str:
    """One of the sound gaits in which some values are others."""
    text = draw(st.sampled_from([GAIT, INLINE, SEQUENCES]))
    for _ in range(draw(st.integers(1, 5))):
        colons = [i for i in range(len(text)) if text.startswith(": ", i)]
        start = draw(st.sampled_from(colons)) + 2
        end = start
        while end < len(text) and text[end] not in ",}]\n":
            end += 1
        text = text[:start] + draw(SCALARS) + text[end:]
    return text


@settings(max_examples=400)
@given(text=other_values())
def test_sound_files_with_other_values(folder: Path, text: str) -> None:
    judge(folder, text.encode())


# bombs: small files that would write out to large ones


def test_nested_for_each_is_bounded() -> None:
    inner = "{lost: <a>}"
    for i in range(12):
        inner = f"{{for_each: {{v{i}: [a, b, c, d, e, f, g, h]}}, all: [{inner}]}}"
    text = gait(more=f"anywhere: [{{to: safe, when: {{any: [{inner}]}}}}]")
    assert {f.code for f in errors_in(text)} >= {"too-large"}


def test_parts_used_again_and_again_are_bounded() -> None:
    steps = ", ".join(f"{{to: still, when: {{event: go}}, about: x{i}}}" for i in range(2000))
    uses = "".join(f"  u{i}: {{use: big, with: {{n: n{i}}}}}\n" for i in range(2000))
    text = gait(
        phases="  still: {rest: true}\n" + uses,
        more=f"parts: {{big: {{takes: [n], phases: {{<n>: {{leave: [{steps}]}}}}}}}}",
    )
    assert {f.code for f in errors_in(text)} == {"too-large"}


def test_texts_in_which_a_variable_stands_again_and_again_are_bounded() -> None:
    about = "<a>" * 100_000
    values = ", ".join(f"v{i}_{'x' * 50}" for i in range(500))
    text = gait(phases=f"  p_<a>:\n    for_each: {{a: [{values}]}}\n    rest: true\n    about: {about}\n")
    assert {f.code for f in errors_in(text)} == {"too-large"}


def test_a_value_that_is_longer_than_a_name_is_refused() -> None:
    text = gait(phases=f"  p_<a>:\n    for_each: {{a: [{'x' * 61}]}}\n    rest: true\n")
    assert [f.code for f in errors_in(text)] == ["bad-name"]
    assert expand.LONGEST_VALUE == 60


@pytest.mark.parametrize("many", ["events", "counters", "carries"])
def test_very_many_names_take_no_quadratic_time(many: str) -> None:
    names = ", ".join(f"n{i}" for i in range(60_000))
    text = gait(
        **{
            "events": {"inputs": f"  events: [go, halt, {names}]"},
            "counters": {"counters": f"[{names}]"},
            "carries": {"inputs": f"  events: [go, halt]\n  remote: {{carries: [{names}]}}"},
        }[many]
    )
    assert errors_in(text)


def test_more_phases_than_an_index_holds_are_refused() -> None:
    rows = "".join(f"  p{i}: {{rest: true}}\n" for i in range(251))
    assert [f.code for f in errors_in(gait(phases=rows))] == ["too-large"]
    assert errors_in(gait(phases=rows.replace("  p250: {rest: true}\n", ""))) == []


@pytest.mark.parametrize("key", ["anywhere", "rules"])
def test_more_entries_than_a_cause_can_number_are_refused(key: str) -> None:
    row = {"anywhere": "{to: safe, when: {event: halt}}", "rules": "{name: r, must: {switch: motors}}"}[key]
    assert [f.code for f in errors_in(gait(more=f"{key}: [{', '.join([row] * 251)}]"))] == ["too-large"]
    assert errors_in(gait(more=f"{key}: [{', '.join([row] * 250)}]")) == []
