"""A user's own set of templates: in a sandbox, over plain data, strictly."""

from pathlib import Path

import pytest
from support.feature_plans import feature_plans

from sequencer.base.errors import MisuseError
from sequencer.generate.files import write
from sequencer.generate.render import generate, targets, templates_root

PLAN = feature_plans()["sequences"]


def with_template(folder: Path, text: str, name: str = "gait.txt.j2") -> Path:
    (folder / name).write_text(text, encoding="utf-8")
    return folder


def test_an_own_set_names_and_fills_its_files(tmp_path: Path) -> None:
    with_template(tmp_path, "{% import '_parts.j2' as parts %}{{ parts.title(g) }}\n")
    with_template(
        tmp_path, "{% macro title(g) %}{{ g.gait }} of {{ g.sequences | length }}{% endmacro %}", "_parts.j2"
    )
    with_template(tmp_path, "// {{ '??/' | comment }}\n", "gait_notes.h.j2")
    assert generate(PLAN, templates=tmp_path) == {
        "sequences.txt": "sequences of 2\n",
        "sequences_notes.h": "// ? ?/\n",
    }


def test_the_built_in_set_used_as_an_own_set_gives_the_same_text() -> None:
    assert generate(PLAN, templates=templates_root() / "portable") == generate(PLAN)


@pytest.mark.parametrize(
    "text",
    [
        "{{ g.no_such_thing }}",
        "{{ g.sequences[0].nothing }}",
        "{{ unknown }}",
        "{% for x in %}",
        "{{ g.gait.__class__.__mro__ }}",
        "{{ g.__init__.__globals__ }}",
        "{{ ''.__class__.__base__.__subclasses__() }}",
        "{{ self.__init__.__globals__ }}",
        "{{ g.update({'gait': 'x'}) }}",
        "{{ g.sequences.append(1) }}",
        "{{ '{0.__class__.__init__}'.format(g) }}",
        "{% include '../../etc/passwd' %}",
        "{% include '/etc/passwd' %}",
        "{% for i in range(1000000000) %}x{% endfor %}",
        "{{ 1 / 0 }}",
        "{{ g.sizes + 1 }}",
        "{{ g['gait'][99] | int(base='x') }}",
    ],
)
def test_a_template_that_fails_or_reaches_out_is_one_clear_error(text: str, tmp_path: Path) -> None:
    with pytest.raises(MisuseError, match=r"the template \S+ failed"):
        generate(PLAN, templates=with_template(tmp_path, text))


def test_the_line_of_a_mistake_is_named(tmp_path: Path) -> None:
    with pytest.raises(MisuseError, match=r"gait\.txt\.j2:3 failed"):
        generate(PLAN, templates=with_template(tmp_path, "one\ntwo\n{% endfor %}\n"))


def test_a_template_that_writes_without_end_is_stopped(tmp_path: Path) -> None:
    text = "{% for i in range(9999) %}{% for j in range(9999) %}{{ 'x' * 999 }}{% endfor %}{% endfor %}"
    with pytest.raises(MisuseError, match="more than"):
        generate(PLAN, templates=with_template(tmp_path, text))


def test_an_empty_or_missing_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MisuseError, match="no templates in"):
        generate(PLAN, templates=tmp_path)
    with pytest.raises(MisuseError, match="no folder of templates"):
        generate(PLAN, templates=tmp_path / "nowhere")


def test_an_unknown_target_is_refused_with_those_that_there_are() -> None:
    assert "portable" in targets()
    assert "host" not in targets()
    for name in ("host", "..", "portable/..", "nothing"):
        with pytest.raises(MisuseError, match="there is no target") as caught:
            generate(PLAN, name)
        assert "portable" in caught.value.hint


def test_output_of_an_own_set_stays_in_its_folder(tmp_path: Path) -> None:
    templates = tmp_path / "set"
    templates.mkdir()
    with_template(templates, "x", "..j2")
    with pytest.raises(MisuseError, match="cannot be called"):
        write(generate(PLAN, templates=templates), tmp_path / "out")
