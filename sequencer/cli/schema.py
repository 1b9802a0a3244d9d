"""`sequencer schema`: the JSON Schema of the files, for an editor."""

import json
from typing import Literal

import click

from sequencer.cli.options import json_option, out, verb


@verb("schema", "sequencer schema gait > gait.schema.json")
@click.argument("kind", type=click.Choice(["machine", "gait", "body"]))
@json_option
def command(kind: Literal["machine", "gait", "body"], as_json: bool) -> int:
    """Print the JSON Schema of machine files, gait files or body files.

    An editor that knows YAML completes names and marks errors with it.
    """
    from sequencer.gait.schema import json_schema

    del as_json  # a schema is JSON; the option is there so that errors are too

    out(json.dumps(json_schema(kind), indent=2, ensure_ascii=False))
    return 0
