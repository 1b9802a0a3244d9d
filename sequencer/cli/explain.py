"""`sequencer explain`: what a finding's code means."""

import difflib

import click

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.errors import MisuseError
from sequencer.cli.options import json_option, out, style, verb


@verb("explain", "sequencer explain dead-end")
@click.argument("code", required=False)
@json_option
def command(code: str | None, as_json: bool) -> int:
    """Explain a finding's code: what it means, why it matters, a bad and a good example.

    Without a code, list all of them.
    """
    from sequencer.base.codes import CODES

    infos = list(CODES.values()) if code is None else [_find(code, CODES)]
    if as_json:
        from sequencer.show.jsonout import codes_document

        out(codes_document(infos))
        return 0
    from sequencer.show.codes import code_list, code_text

    out(code_list(infos, style()) if code is None else code_text(infos[0], style()))
    return 0


def _find(code: str, codes: dict[str, CodeInfo]) -> CodeInfo:
    found = codes.get(code.strip("[] "))
    if found is not None:
        return found
    near = difflib.get_close_matches(code, codes, n=1, cutoff=0.5)
    hint = f"did you mean '{near[0]}'?" if near else "`sequencer explain` lists all codes"
    raise MisuseError(f"there is no code '{code}'", hint=hint)
