"""`sequencer rounding`: what int16 changes against binary32."""

from typing import TYPE_CHECKING

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.following import Following, following_options
from sequencer.cli.options import (
    FILE,
    gait_argument,
    json_option,
    machine_option,
    out,
    quiet_option,
    style,
    verb,
)
from sequencer.cli.progress import Progress
from sequencer.cli.recording import Recording, opened

if TYPE_CHECKING:
    from sequencer.api import Gait
    from sequencer.trace.blocks import TickBlock


@verb("rounding", "sequencer rounding stork.gait.yaml walk.csv --on motors")
@gait_argument
@click.argument("trace", metavar="[TRACE]", required=False, type=FILE)
@machine_option
@click.option("--map", "mapping", multiple=True, metavar="OURS=THEIRS", help="A column of another name.")
@following_options
@json_option
@quiet_option
def command(
    gait: str,
    trace: str | None,
    machine: str | None,
    mapping: tuple[str, ...],
    following: Following,
    as_json: bool,
    quiet: bool,
) -> int:
    """Tell which decisions of a gait in int16 differ from binary32 on a recording.

    The machine file says `arithmetic: int16`. Every guard that came out differently is listed, with the first
    tick, how far it was from its threshold and how often; and every transition that came earlier or later.
    Once one run is ahead of the other, differences may follow from that. Without a recording the machine
    follows its setpoints, as with dry-run.

    The exit code is 1 if any decision differs.
    """
    import sequencer
    from sequencer.show.rounding import rounding_document, rounding_text

    if gait == "-":
        raise MisuseError("the gait is read twice, so it can't come from standard input")
    whole = sequencer.load(gait, machine=machine)
    if whole.plan.fixed is None:
        raise MisuseError(
            f"{whole.plan.machine} counts in binary32 already",
            hint="arithmetic: int16 in the machine file, below tick",
        )
    plain = sequencer.load(gait, machine=machine, as_written=False)
    if trace is None:
        if mapping:
            raise MisuseError("--map belongs to a recording, and there is none")
        with Progress("rounding", quiet=quiet):
            found = whole.rounding(plain, _followed(whole, following))
    else:
        following.refuse(but=("--on",))
        with opened(whole.plan, Recording(trace, mapping, following.on, quiet)) as blocks:
            found = whole.rounding(plain, blocks)
    out(rounding_document(found) if as_json else rounding_text(found, style()))
    return int(found.differs)


def _followed(gait: "Gait", following: Following) -> "list[TickBlock]":
    """Let the machine follow its setpoints and keep what its sensors said."""
    from sequencer.api import make_executor
    from sequencer.history.following import followed_inputs
    from sequencer.trace.follow import FollowPlant

    plan = gait.plan
    plant = FollowPlant(plan, following.options(plan))
    return list(followed_inputs(make_executor(plan), plant, following.lasts_ms // plan.tick_ms))
