import json

from support.commands import assert_one_clear_error, run

from sequencer.base.codes import CODES


def test_all_codes_are_listed() -> None:
    text = run("explain").stdout
    assert all(f"\n{code} " in text for code in CODES)


def test_every_code_is_explained_from_the_registry() -> None:
    for code in ["dead-end", sorted(CODES)[0], sorted(CODES)[-1]]:
        done = run("explain", code)
        assert done.returncode == 0
        assert done.stdout.startswith(f"{code}: {CODES[code].title}")
        assert "Why it matters" in done.stdout


def test_the_mending_is_shown_as_what_changes() -> None:
    text = run("explain", "dead-end").stdout
    mended = text.partition("Mended\n")[2]
    assert any(line.startswith("+ ") for line in mended.splitlines())


def test_brackets_copied_from_a_finding_do_no_harm() -> None:
    assert run("explain", "[dead-end]").stdout == run("explain", "dead-end").stdout


def test_a_code_that_does_not_exist_gets_the_nearest() -> None:
    assert_one_clear_error(
        run("explain", "daed-end"), "there is no code 'daed-end'", "did you mean 'dead-end'?"
    )


def test_codes_as_json() -> None:
    whole = json.loads(run("explain", "dead-end", "--json").stdout)
    assert whole["codes"][0]["code"] == "dead-end"
    assert whole["codes"][0]["severity"] == "error"
    assert len(json.loads(run("explain", "--json").stdout)["codes"]) == len(CODES)
