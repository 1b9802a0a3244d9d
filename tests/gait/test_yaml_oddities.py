"""What YAML lets through in silence, and what strangers' files hold."""

import os
from pathlib import Path

import pytest
from support.gaits import errors_in, gait, spot, told

from sequencer.base.errors import FileErrors
from sequencer.base.findings import Finding
from sequencer.gait.nodes import Listing, Mapping, Text
from sequencer.gait.reading import MOST_BYTES, parse_tree
from sequencer.plan.build import load_plan

SOUND = gait()


def only(text: str) -> Finding:
    (finding,) = errors_in(text)
    return finding


def test_the_sound_gait_has_no_errors() -> None:
    assert errors_in(SOUND) == []


@pytest.mark.parametrize(
    ("text", "at", "code", "said"),
    [
        ("phases:\n\tstill: {}\n", "2:1", "yaml-syntax", "a tab stands where only spaces may"),
        ("phases:\n  \tstill: {}\n", "2:3", "yaml-syntax", "a tab stands where only spaces may"),
        ("phases: {\n\ta: 1}\n", "2:1", "yaml-syntax", "a tab stands where only spaces may"),
        ("gait: a\ngait: b\n", "2:1", "duplicate-key", "gait stands twice here; the first is in line 1"),
        ("gait: &x a\nabout: *x\n", "2:8", "alias", "aliases (*x) are not used here"),
        ("gait: *nobody\n", "1:7", "alias", "aliases (*name) are not used here"),
        ("a: &a [*a]\n", "1:8", "alias", "aliases (*a) are not used here"),
        ("gait: !!python/name:os.system x\n", "1:7", "yaml-syntax", "tags (!name) are not used here"),
        ("gait: !local x\n", "1:7", "yaml-syntax", "tags (!name) are not used here"),
        ("gait: a\n---\ngait: b\n", "2:1", "yaml-syntax", "a second document (---) begins here"),
        ("gait: a\x00b\n", "1:8", "yaml-syntax", "a control character (U+0000) cannot stand in YAML"),
        ("gait: a\n# \x1b[31m\n", "2:3", "yaml-syntax", "a control character (U+001B) cannot stand in YAML"),
        ("gait: \x7f\n", "1:7", "yaml-syntax", "a control character (U+007F) cannot stand in YAML"),
        # these end a remark in YAML 1.1 only, so that what an editor shows as a remark would count
        ("gait: a # x\u2028about: b\n", "1:12", "yaml-syntax", "a line separator (U+2028) cannot stand"),
        ("gait: a # x\x85about: b\n", "1:12", "yaml-syntax", "a line separator (U+0085) cannot stand"),
        ("", "1:1", "empty-file", "<text> is empty"),
        (" \n\n", "1:1", "empty-file", "<text> is empty"),
        ("# a remark\n", "1:1", "empty-file", "<text> is empty"),
        ("just words\n", "1:1", "wrong-type", "keys with values are needed here"),
        ("- gait: a\n", "1:1", "wrong-type", "keys with values are needed here"),
        ("? [a]\n: 1\n", "1:3", "yaml-syntax", "a key must be a plain word"),
        ("a: b: c\n", "1:5", "yaml-syntax", "a colon stands where no key can be"),
        ("unit: %\n", "1:7", "yaml-syntax", "found character that cannot start any token"),
        ("gait: [a\n", "2:1", "yaml-syntax", "a comma or the closing ] is missing"),
        ('gait: "\\ud800"\n', "1:10", "yaml-syntax", "invalid Unicode character escape"),
        ("\ud800", "1:1", "yaml-syntax", "a control character (U+D800) cannot stand in YAML"),
    ],
)  # fmt: skip
def test_one_clear_error_at_its_place(text: str, at: str, code: str, said: str) -> None:
    # a key that stands twice does not keep the rest of the file from being judged
    finding = next(f for f in errors_in(text) if f.code == code) if code == "duplicate-key" else only(text)
    assert (f"{finding.place.line}:{finding.place.column}", finding.code) == (at, code)
    assert said in finding.message


def test_an_unclosed_bracket_says_where_it_was_opened() -> None:
    text = "gait: a\nmachine: [\n  a,\n  b\ncounters: []\n"
    (place, said), *_ = only(text).notes
    assert (f"{place.line}:{place.column}", said) == (spot(text, "["), "it begins here")


@pytest.mark.parametrize("opening", ["[", "{a: ", "- ", "? ", "[{a: "])
def test_nesting_without_end_is_one_error_and_does_not_overrun_the_stack(opening: str) -> None:
    assert only("a: " + opening * 50_000 if opening[0] in "[{" else opening * 50_000).code == "too-deep"


def test_nesting_is_bounded_at_64_levels() -> None:
    def nested(levels: int) -> str:
        return "[" * levels + "]" * levels

    assert parse_tree(nested(64), "x")[1] == []
    assert only(nested(66)).code == "too-deep"


def test_a_bomb_of_aliases_is_refused_before_it_grows() -> None:
    rows = ["a0: &a0 [x, x]"] + [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]" for i in range(1, 30)]
    finding = only("\n".join(rows))
    assert (finding.code, finding.place.line) == ("alias", 2)


def test_a_file_of_more_than_two_megabytes_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "large.gait.yaml"
    path.write_text(SOUND + "#" * (MOST_BYTES - len(SOUND.encode())))
    assert load_plan(path).name == "trial"
    path.write_text(SOUND + "#" * (MOST_BYTES - len(SOUND.encode()) + 1))
    with pytest.raises(FileErrors, match="larger than 2 MB"):
        load_plan(path)


def test_quoted_keys_are_keys() -> None:
    assert errors_in(SOUND.replace("  still:", '  "still":').replace("tick:", "'tick':")) == []


def test_windows_line_ends_and_a_byte_order_mark_change_nothing(tmp_path: Path) -> None:
    path = tmp_path / "walk.gait.yaml"
    path.write_text(SOUND)
    plain = load_plan(path)
    path.write_bytes(b"\xef\xbb\xbf" + SOUND.replace("\n", "\r\n").encode())
    assert load_plan(path) == plain


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_places_are_the_same_whatever_ends_the_lines(end: str) -> None:
    text = SOUND.replace("event: go}", "event: gow}")
    assert told(text.replace("\n", end)) == told(text) == [f"{spot(text, 'gow')} unknown-name"]


def test_columns_count_characters_not_bytes() -> None:
    text = SOUND.replace("tick: 10 ms", 'about: "größer → 😀", tick: 10 mm').replace(
        "machine:\n", "machine:\n"
    )
    text = text.replace('  about: "größer → 😀", tick: 10 mm', '  about: "größer → 😀"\n  tick: 10 ms')
    text = text.replace("{rest: true,", '{about: "größer → 😀", resst: true,')
    assert told(text) == [f"{spot(text, 'resst')} unknown-key"]


def test_every_key_and_value_knows_its_place() -> None:
    root, findings = parse_tree('a: 1\nbb:\n  - {c: "x"}\n  - [y,   z]\n', "f")
    assert findings == []
    assert isinstance(root, Mapping)
    (_, one), (bb, items) = root.entries
    assert isinstance(items, Listing)
    first, second = items.items
    assert isinstance(first, Mapping)
    assert isinstance(second, Listing)
    places = [
        one.place,
        bb.place,
        items.place,
        first.place,
        first.entries[0][0].place,
        first.entries[0][1].place,
    ]
    places += [item.place for item in second.items]
    assert [(p.line, p.column) for p in places] == [
        (1, 4), (2, 1), (3, 3), (3, 5), (3, 6), (3, 9), (4, 6), (4, 11),
    ]  # fmt: skip
    assert all(p.file == "f" for p in places)
    assert isinstance(one, Text)


@pytest.mark.parametrize(
    ("data", "at"),
    [(b"gait: \xff\n", "1:7"), (b"gait: a\nabout: \xc3(\n", "2:8"), (b"\x9f\x8b\x08\x00", "1:1")],
)
def test_a_file_that_is_not_utf_8_is_refused_at_its_first_wrong_byte(
    tmp_path: Path, data: bytes, at: str
) -> None:
    path = tmp_path / "walk.gait.yaml"
    path.write_bytes(data)
    with pytest.raises(FileErrors) as caught:
        load_plan(path)
    (finding,) = caught.value.findings
    assert (finding.code, f"{finding.place.line}:{finding.place.column}") == ("not-text", at)


def test_a_file_that_is_missing_names_one_that_is_nearly_called_so(tmp_path: Path) -> None:
    (tmp_path / "stork.gait.yaml").write_text(SOUND)
    with pytest.raises(FileErrors) as caught:
        load_plan(tmp_path / "strok.gait.yaml")
    (finding,) = caught.value.findings
    assert finding.code == "no-file"
    assert "stork.gait.yaml" in finding.fix


def test_only_regular_files_are_read(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.gait.yaml")
    for path in (tmp_path, tmp_path / "pipe.gait.yaml", Path("/dev/zero")):
        with pytest.raises(FileErrors, match="not a regular file"):
            load_plan(path)


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ("missing.machine.yaml", "cannot be opened"),
        ('"a\\0b"', "it is no file name"),
        ('""', "not a regular file"),
        ('"-"', "cannot be opened"),  # never standard input, on which nobody may be typing
        ("/dev/zero", "not a regular file"),
    ],
)
def test_a_machine_file_that_cannot_be_read_is_told_at_the_gaits_word_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: str, message: str
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("walk.gait.yaml").write_text(f"gait: walk\nmachine: {said}\nphases: {{a: {{rest: true}}}}\n")
    with pytest.raises(FileErrors) as caught:
        load_plan("walk.gait.yaml")
    (finding,) = caught.value.findings
    assert (finding.code, finding.place.line, finding.place.column) == ("no-file", 2, 10)
    assert message in finding.message


def test_a_gait_file_in_place_of_a_machine_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "other.gait.yaml").write_text(SOUND)
    path = tmp_path / "walk.gait.yaml"
    path.write_text("gait: walk\nmachine: other.gait.yaml\nphases: {a: {rest: true}}\n")
    with pytest.raises(FileErrors) as caught:
        load_plan(path)
    assert [(f.code, f.place.line, f.place.column) for f in caught.value.findings] == [
        ("not-a-machine", 2, 10)
    ]


def test_a_machine_file_in_place_of_a_gait_file_is_told_in_one_sentence(tmp_path: Path) -> None:
    path = tmp_path / "stork.machine.yaml"
    path.write_text("machine: stork\ntick: 10 ms\nsignals: {a: {unit: deg, span: [0, 1]}}\n")
    with pytest.raises(FileErrors, match="describes a machine, not a walk") as caught:
        load_plan(path)
    assert len(caught.value.findings) == 1
