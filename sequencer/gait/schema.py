"""JSON Schema of the files, made from the models, for completion in an editor."""

from typing import Any, Literal

from pydantic import BaseModel

from sequencer.gait.body_model import BodyFile
from sequencer.gait.gait_model import GaitFile, UseBlock
from sequencer.gait.machine_model import MachineFile

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def json_schema(which: Literal["machine", "gait", "body"]) -> dict[str, Any]:
    """Give the JSON Schema (draft 2020-12) of the machine, the gait or the body file."""
    models: dict[str, type[BaseModel]] = {"machine": MachineFile, "gait": GaitFile, "body": BodyFile}
    schema = models[which].model_json_schema(by_alias=True)
    if which == "gait":
        _allow_uses(schema)
        # an inline machine may go without its name
        schema["$defs"]["MachineFile"]["required"] = ["tick"]
        # a guard in a list may be written once for several names
        for_each = schema["$defs"]["LeaveBlock"]["properties"]["for_each"]
        schema["$defs"]["GuardBlock"]["properties"]["for_each"] = for_each
    return {"$schema": DIALECT, **schema, "title": f"{which} file"}


def _allow_uses(schema: dict[str, Any]) -> None:
    """Let a use of a part stand where a phase may."""
    definitions = schema["$defs"]
    definitions["UseBlock"] = UseBlock.model_json_schema(by_alias=True)
    for owner in (schema, definitions["SequenceBlock"]):
        owner["properties"]["phases"]["additionalProperties"] = {
            "anyOf": [{"$ref": "#/$defs/PhaseBlock"}, {"$ref": "#/$defs/UseBlock"}]
        }
