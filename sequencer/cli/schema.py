"""`sequencer schema`: the JSON Schema of the files, for an editor."""

import json

import click

from sequencer.cli.options import out


@click.command("schema")
@click.argument("kind", type=click.Choice(["machine", "gait"]))
def command(kind: str) -> int:
    """Print the JSON Schema of machine files or gait files.

    An editor that knows YAML completes names and marks errors with it.

    Example: sequencer schema gait > gait.schema.json
    """
    from sequencer.gait.schema import json_schema

    out(json.dumps(json_schema(kind), indent=2, ensure_ascii=False))
    return 0
