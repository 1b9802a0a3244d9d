"""`sequencer prove`: the generated code on emulated controllers against the reference, to the bit."""

from typing import TYPE_CHECKING

import click

from sequencer.base.errors import MisuseError
from sequencer.cli.following import split_once
from sequencer.cli.options import (
    FILE,
    gait_argument,
    json_option,
    machine_option,
    out,
    quiet_option,
    say,
    style,
    verb,
)
from sequencer.cli.progress import Progress

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sequencer.plan.tables import Plan
    from sequencer.prove.controllers import Controller
    from sequencer.prove.coverage import Covered
    from sequencer.prove.inputs import Trace
    from sequencer.prove.report import Proof, Row


@verb("prove", "sequencer prove stork.gait.yaml walk.csv --random 20")
@gait_argument
@click.argument("traces", metavar="[TRACE]...", nargs=-1, type=FILE)
@machine_option
@click.option("--map", "mapping", multiple=True, metavar="OURS=THEIRS", help="A column of another name.")
@click.option(
    "--random", "count", type=click.IntRange(0, 10_000), default=8, show_default=True, help="Random traces."
)
@click.option(
    "--ticks",
    type=click.IntRange(1, 10_000_000),
    default=3000,
    show_default=True,
    help="Length of made traces.",
)
@click.option("--seed", type=click.IntRange(min=0), default=0, show_default=True, help="For the random ones.")
@click.option(
    "--on",
    multiple=True,
    metavar="CONTROLLER",
    help="Only on this one: host, atmega328p, atmega2560, cortex-m3, cortex-m4f.",
)
@click.option(
    "--coverage", is_flag=True, help="Also count the branches of the code that the traces take (g++, gcov)."
)
@click.option("--require", is_flag=True, help="A controller that could not be run is a fault.")
@json_option
@quiet_option
def command(
    gait: str,
    traces: tuple[str, ...],
    machine: str | None,
    mapping: tuple[str, ...],
    count: int,
    ticks: int,
    seed: int,
    on: tuple[str, ...],
    coverage: bool,
    require: bool,
    as_json: bool,
    quiet: bool,
) -> int:
    """Build the generated code for controllers, run it on their emulators and compare every tick, to the bit.

    Runs the recordings given, a walk in which each signal follows its setpoint, and random inputs near what
    matters to the gait. A switch that a recording has no column for is on, unless it stops the machine.

    The exit code is 0 if all that was run is equal, 1 at a difference, 2 if nothing could be run (with
    --require: if anything could not). An emulator is not the board: wiring, timing and supply stay unproved.
    """
    from sequencer.plan.build import load_plan
    from sequencer.prove.run import prove

    if gait == "-" and "-" in traces:
        raise MisuseError("the gait and a recording can't both come from standard input")
    controllers = _controllers(on)
    plan = load_plan(gait, machine)
    with Progress("proof", quiet=quiet) as bar:
        told: list[Row] = []

        def note(row: "Row") -> None:
            told.append(row)
            bar.update(len(told), len(controllers))

        made = list(_traces(plan, traces, mapping, (count, ticks, seed)))
        if not made:
            raise MisuseError("there is nothing to run", hint="give a recording, or --random 1 or more")
        proof = prove(plan, made, controllers, on_row=note)
        files = _covered(plan, made) if coverage else ()
    _print(proof, files, as_json=as_json, quiet=quiet)
    if proof.found:
        return 1
    return 2 if proof.empty or (require and not proof.complete) else 0


def _controllers(names: tuple[str, ...]) -> "list[Controller]":
    from sequencer.prove.controllers import CONTROLLERS
    from sequencer.trace.layout import nearest

    known = [c.name for c in CONTROLLERS]
    for name in names:
        if name not in known:
            hint = nearest(name, known) or f"one of {', '.join(known)}"
            raise MisuseError(f"there is no controller {name}", hint=hint)
    return [c for c in CONTROLLERS if not names or c.name in names]


def _traces(
    plan: "Plan", paths: tuple[str, ...], mapping: tuple[str, ...], made: tuple[int, int, int]
) -> "Iterator[Trace]":
    from sequencer.prove.inputs import followed, random_traces, recorded

    count, ticks, seed = made
    if mapping and not paths:
        raise MisuseError("--map belongs to a recording, and there is none")
    for path in paths:
        yield recorded(path, plan, split_once(mapping, "OURS=THEIRS"))
    yield followed(plan, ticks)
    yield from random_traces(plan, count, ticks, seed)


def _covered(plan: "Plan", traces: "list[Trace]") -> "tuple[Covered, ...]":
    from sequencer.prove.coverage import cover

    return cover(plan, traces)


def _print(proof: "Proof", files: "tuple[Covered, ...]", *, as_json: bool, quiet: bool) -> None:
    from sequencer.cli.proof_text import (
        coverage_content,
        coverage_text,
        proof_content,
        proof_text,
        proof_words,
    )

    if as_json:
        from sequencer.show.jsonout import document

        content = proof_content(proof) | ({"coverage": coverage_content(files)} if files else {})
        out(document("proof", content))
    elif quiet:
        out(proof_words(proof))
    else:
        out(proof_text(proof, style()))
        if files:
            out("\n" + coverage_text(files, style()))
        if proof.empty:
            say("nothing could be run: see what to install above")
