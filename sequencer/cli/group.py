"""A click group that imports a verb's module only when the verb is called."""

import difflib
from importlib import import_module
from typing import Final

import click

# verb -> the module that holds its `command`, and its line in the help
VERBS: Final = {
    "new": ("new", "Write a machine file and a gait file to start from."),
    "check": ("check", "Tell what is wrong with a gait before power-on."),
    "explain": ("explain", "Explain a finding's code, with a bad and a good example."),
    "draw": ("draw", "Draw a gait as a diagram."),
    "dry-run": ("dry_run", "Run a gait against a recording, or against itself."),
    "report": ("report", "Write a page that shows a run in any browser."),
    "plot": ("plot", "Draw a run as a picture, for notes and forums."),
    "rehearse": ("rehearse", "Rehearse a walk in physics, with a body that can fall."),
    "rounding": ("rounding", "Tell which decisions differ in int16 from binary32."),
    "make-trace": ("make_trace", "Write a trace from a script, or by letting the machine follow."),
    "generate": ("generate", "Generate the controller's source code."),
    "prove": ("prove", "Run the generated code on emulated controllers and compare."),
    "schema": ("schema", "Print the JSON Schema of machine or gait files, for an editor."),
    "plan": ("plan", "Print the tables that a gait comes down to."),
}


class VerbGroup(click.Group):
    """Lists the verbs in the order of the work and loads the one that is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return all verbs, in the order in which a builder needs them."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the verb's module and return its command."""
        if cmd_name not in VERBS:
            return None
        command = import_module(f"sequencer.cli.{VERBS[cmd_name][0]}").command
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does, but name the nearest verb when there is none of that name."""
        name = args[0]
        if name not in VERBS and not name.startswith("-"):
            near = difflib.get_close_matches(name, VERBS, n=1)
            hint = f" Did you mean '{near[0]}'?" if near else f" The verbs are: {', '.join(VERBS)}."
            raise click.UsageError(f"there is no verb '{name}'.{hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the verbs with their lines, without importing any of them."""
        with formatter.section("Verbs"):
            formatter.write_dl([(name, line) for name, (_, line) in VERBS.items()])
