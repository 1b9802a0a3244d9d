"""Bare `sequencer`: what lies in this folder, and which command would come next."""

from pathlib import Path

from sequencer.cli.options import out, style


def main(*, as_json: bool) -> int:
    """Look at the current folder and print what is there."""
    from sequencer.show.folder import folder_text, look

    folder = look(Path())
    if as_json:
        from sequencer.show.jsonout import document

        out(document("folder", folder.as_data()))
    else:
        out(folder_text(folder, style()))
        out("`sequencer --help` lists all verbs.")
    return 0
