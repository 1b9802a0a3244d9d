"""`sequencer draw`: a gait as a diagram."""

from pathlib import Path

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.options import (
    FILE,
    force_option,
    gait_argument,
    json_option,
    machine_option,
    out,
    quiet_option,
    refuse_both,
    say,
    verb,
    write_out,
)
from sequencer.cli.progress import Progress
from sequencer.show.folder import drawing_of

# and what tells them; of an SVG, that it is one of ours
FORMATS = {
    "svg": b'role="img" aria-labelledby="title desc"',
    "png": b"\x89PNG",
    "pdf": b"%PDF-",
    "dot": b"digraph",
}


@verb("draw", "sequencer draw stork.gait.yaml -o stork.svg")
@gait_argument
@machine_option
@click.option("-o", "--output", metavar="FILE", type=FILE, help="Where to write it; - for standard output.")
@click.option("--format", "kind", type=click.Choice(list(FORMATS)), help="Default: what FILE ends in.")
@click.option("--times", is_flag=True, help="Say on each card how long the phase takes, with a bar.")
@force_option
@json_option
@quiet_option
def command(
    gait: str,
    machine: str | None,
    output: str | None,
    kind: str | None,
    times: bool,
    force: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Draw a gait: phases, what they command, guards as sentences, timeouts and stops.

    Without -o, the drawing is written beside the gait file. SVG and the layout's source text (dot) need
    nothing else; PNG and PDF need the program `dot` of Graphviz.
    """
    from sequencer.plan.build import load_plan
    from sequencer.show.diagram import DiagramOptions, diagram_bytes

    kind = kind or _format_of(output)
    output = output or ("-" if gait == "-" else str(drawing_of(Path(gait), kind)))
    refuse_both(output, as_json=as_json)
    with Progress("drawing", quiet=quiet):
        data = diagram_bytes(load_plan(gait, machine), kind, DiagramOptions(times=times))
    write_out(output, data, ours=FORMATS[kind], force=force)
    if as_json:
        from sequencer.show.jsonout import document

        out(document("files", {"written": [output]}))
    elif output != "-":
        say(f"drawn: {output}", quiet=quiet)
    return 0


def _format_of(output: str | None) -> str:
    ending = Path(output or "").suffix.removeprefix(".").lower()
    if ending and ending not in FORMATS:
        hint = f"let FILE end in {', '.join(FORMATS)}, or say which with --format"
        raise MisuseError(f"a drawing cannot be written as {ending}", hint=hint)
    return ending or "svg"
