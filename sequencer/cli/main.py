"""The command `sequencer`: runs a verb and turns every error into one clear line and an exit code.

Exit codes: 0 fine, 1 findings (or a fault in a dry-run), 2 misuse or unreadable input, 130 interrupted.
With --json an error is a document on standard output, as the findings of `check` are.
"""

import errno
import io
import os
import shlex
import sys
from pathlib import Path

import click

from sequencer import __version__
from sequencer.base.errors import DifferenceError, SequencerError
from sequencer.cli.group import VerbGroup

FINE, FINDINGS, MISUSE, INTERRUPTED = 0, 1, 2, 130

_OS_REASONS = {
    errno.ENOENT: "there is no such file or folder",
    errno.EACCES: "permission denied",
    errno.EPERM: "permission denied",
    errno.EROFS: "this disk is read-only",
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "your disk quota is used up",
    errno.EISDIR: "this is a folder, not a file",
    errno.ENOTDIR: "a part of this path is not a folder",
    errno.EFBIG: "the file would become too large",
    errno.ENAMETOOLONG: "the name is too long",
}


@click.group(
    cls=VerbGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, message="sequencer %(version)s")
@click.option("--json", "as_json", is_flag=True, help="Without a verb: print one JSON document.")
@click.pass_context
def sequencer(ctx: click.Context, as_json: bool) -> int:
    """Design walking sequences for legged machines: check, draw and dry-run them, and generate C++.

    Without a verb: say what is in this folder and which command would come next.
    """
    if ctx.invoked_subcommand is not None:
        return FINE
    from sequencer.cli import here

    return here.main(as_json=as_json)


def main(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code; never lets an exception out."""
    _prepare_streams()
    arguments = sys.argv[1:] if arguments is None else arguments
    tell = _tell_as_json if _wants_json(arguments) else _tell
    try:
        code = _run(arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        _leave_stdout()  # whoever read our output went away, as `| head` does: nothing to say
        return MISUSE
    except (KeyboardInterrupt, click.Abort):
        tell(SequencerError("interrupted; no file was left half written"))
        return INTERRUPTED
    except SequencerError as error:
        tell(error)
        return FINDINGS if isinstance(error, DifferenceError) else MISUSE
    except (click.ClickException, OSError, MemoryError) as error:
        tell(SequencerError(_message(error), hint=_hint(error)))
        return MISUSE
    except Exception as error:
        if os.environ.get("SEQUENCER_TRACEBACK"):
            raise
        what = f"{type(error).__name__}: {error}"
        tell(SequencerError(f"a fault in sequencer itself: {what} (SEQUENCER_TRACEBACK=1 shows where)"))
        return MISUSE
    return code if isinstance(code, int) else FINE


def _prepare_streams() -> None:
    """Make sure that there are streams to write to, and that no character is one too many for them."""
    if sys.stdout is None:  # closed by whoever started us, as `>&-` does
        sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - open until the end
    if sys.stderr is None:
        sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - open until the end
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _run(arguments: list[str]) -> object:
    """Do what click's own `main` does, but leave interrupts and closed pipes to us."""
    instruction = os.environ.get("_SEQUENCER_COMPLETE")
    if instruction:
        from click.shell_completion import shell_complete

        return shell_complete(sequencer, {}, "sequencer", "_SEQUENCER_COMPLETE", instruction)
    try:
        with sequencer.make_context("sequencer", list(arguments)) as context:
            return sequencer.invoke(context)
    except click.exceptions.Exit as end:  # --help and --version end so
        return end.exit_code


def _message(error: click.ClickException | OSError | MemoryError) -> str:
    if isinstance(error, MemoryError):
        return "this needs more memory than there is"
    if isinstance(error, OSError):
        reason = _OS_REASONS.get(error.errno or 0, error.strerror or str(error))
        return f"{error.filename}: {reason}" if error.filename else reason
    if isinstance(error, click.UsageError) and error.ctx is not None:
        return f"{error.format_message()} See '{error.ctx.command_path} --help'."
    return error.format_message()


def _hint(error: BaseException) -> str:
    """Say how to make a folder that is missing."""
    if not isinstance(error, OSError) or error.errno != errno.ENOENT or not isinstance(error.filename, str):
        return ""
    folder = Path(error.filename).parent
    return "" if folder.exists() else f"make the folder first: mkdir -p {shlex.quote(str(folder))}"


def _wants_json(arguments: list[str]) -> bool:
    """Look for --json even where the arguments make no sense, as then no verb can say so."""
    options = arguments[: arguments.index("--")] if "--" in arguments else arguments
    return "--json" in options


def _tell(error: SequencerError) -> None:
    from sequencer.show.terminal import error_text
    from sequencer.show.text import style_for

    text = error_text(error, style_for(sys.stderr))
    try:
        sys.stdout.flush()
    except OSError:
        _leave_stdout()
    try:
        sys.stderr.write(text + "\n")
        sys.stderr.flush()
    except OSError:
        pass  # standard error is gone too; the exit code still tells


def _tell_as_json(error: SequencerError) -> None:
    from sequencer.show.jsonout import error_document

    try:
        sys.stdout.write(error_document(error) + "\n")
        sys.stdout.flush()
    except OSError:
        _leave_stdout()


def _leave_stdout() -> None:
    """Point standard output to nowhere, so that Python's own flush at exit can't fail."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
