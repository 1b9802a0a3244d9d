"""`sequencer schema`: the JSON Schema of the files, for an editor."""

import json
from typing import Literal

import click

from sequencer.cli.options import out, verb


@verb("schema", "sequencer schema gait > gait.schema.json")
@click.argument("kind", type=click.Choice(["machine", "gait"]))
def command(kind: Literal["machine", "gait"]) -> int:
    """Print the JSON Schema of machine files or gait files.

    An editor that knows YAML completes names and marks errors with it.
    """
    from sequencer.gait.schema import json_schema

    out(json.dumps(json_schema(kind), indent=2, ensure_ascii=False))
    return 0
