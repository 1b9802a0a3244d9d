"""The part of `sequencer check` that changes files, or shows how it would."""

import sys
from collections.abc import Sequence

from sequencer.base.errors import FileErrors, MisuseError
from sequencer.base.places import Place
from sequencer.cli.options import out, say, style
from sequencer.show.terminal import place_text
from sequencer.show.text import clean


def refuse_odd(*, preview: bool, mend: bool, document: bool) -> None:
    """Raise MisuseError for options that make no sense together."""
    if preview and mend:
        raise MisuseError("--fix-preview shows and --fix writes", hint="one of the two")
    if preview and document:
        hint = "the findings in a document carry their edits; leave out --fix-preview"
        raise MisuseError("a diff and a document can't both go to standard output", hint=hint)


def show(gaits: Sequence[str], machine: str | None, texts: dict[str, str], *, quiet: bool) -> None:
    """Print what would be changed as a unified diff, and say on standard error what that settles.

    texts: what has been read of the files. Raises FileErrors.
    """
    from sequencer.check.fixing import fix
    from sequencer.show.diff import diff_text

    fixed = fix(gaits, machine, texts)
    for name in fixed.changed:
        out(diff_text(name, fixed.before[name], fixed.after[name], style(), safe=sys.stdout.isatty()))
    say(_summary(fixed.settled), quiet=quiet)


def mend(gaits: Sequence[str], machine: str | None, *, quiet: bool) -> dict[str, str]:
    """Write what settles findings and say what was written; return what the files say now.

    A file that can't be used is left for the check to tell. Raises MisuseError if one can't be written back.
    """
    from sequencer.check.fixing import fix, write

    if "-" in gaits:
        raise MisuseError("what comes from standard input can't be written back", hint="give the file")
    try:
        fixed = fix(gaits, machine)
    except FileErrors:
        return {}
    if fixed.changed:
        names = " and ".join(clean(name) for name in fixed.changed)
        write(fixed)
        say(f"wrote {names}; it {_summary(fixed.settled)}", quiet=quiet)
    else:
        say(_summary(fixed.settled), quiet=quiet)
    return fixed.after


def _summary(settled: Sequence[tuple[str, Place]]) -> str:
    """Say which findings are settled, and where."""
    words = [f"{code} ({place_text(place)})" for code, place in settled]
    return f"settles {', '.join(words)}" if words else "nothing here can be settled by an edit"
