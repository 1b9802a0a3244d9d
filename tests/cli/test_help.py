import re

import pytest
from support.commands import run

from sequencer import __version__
from sequencer.cli.group import VERBS


def test_the_version_is_told() -> None:
    done = run("--version")
    assert (done.returncode, done.stdout) == (0, f"sequencer {__version__}\n")


def test_the_help_lists_every_verb_with_its_line() -> None:
    text = run("--help").stdout
    for verb, (_, line) in VERBS.items():
        assert re.search(rf"^  {verb} +{re.escape(line)}$", text, re.MULTILINE), verb


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_a_help_with_an_example(verb: str) -> None:
    done = run(verb, "--help")
    assert done.returncode == 0
    assert re.search(rf"Example:\n    sequencer {verb}\b", done.stdout), done.stdout
    assert run(verb, "-h").stdout == done.stdout


def test_a_verb_that_does_not_exist_gets_the_nearest() -> None:
    done = run("chekc")
    assert done.returncode == 2
    assert done.stderr == "error: there is no verb 'chekc'. Did you mean 'check'? See 'sequencer --help'.\n"


def test_a_word_that_is_near_nothing_gets_the_list() -> None:
    assert "The verbs are: new, check" in run("xyzzy").stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("check",), "Missing argument 'GAIT...'. See 'sequencer check --help'."),
        (("plan", "a", "b"), "unexpected extra argument"),
        (("check", "--speed", "a"), "No such option"),
        (("schema", "robot"), "robot"),
        (("generate", "a"), "--output"),
        (("make-trace", "a.gait.yaml", "-o", "x"), "a SCRIPT and a GAIT are needed"),
        (("make-trace", "--follow", "a", "b", "-o", "x"), "--follow takes one GAIT"),
        (("--frob",), "No such option"),
    ],
)
def test_wrong_use_is_one_line(arguments: tuple[str, ...], words: str) -> None:
    done = run(*arguments)
    assert done.returncode == 2
    assert words in done.stderr
    assert done.stderr.startswith("error: ")
    assert "Traceback" not in done.stderr


# a shell asks for completions by these variables (click's documentation, "Shell Completion")
def test_the_shell_can_complete_verbs() -> None:
    environment = {"_SEQUENCER_COMPLETE": "bash_complete", "COMP_WORDS": "sequencer dr", "COMP_CWORD": "1"}
    assert run(environment=environment).stdout.split() == ["plain,draw", "plain,dry-run"]
