"""A proof as text for people, and as an object for other programs."""

from dataclasses import asdict
from textwrap import wrap
from typing import Any

from sequencer.prove.coverage import Covered
from sequencer.prove.report import Proof, Row
from sequencer.show.text import PLAIN, Style, clean, table

_HEAD = (
    "controller",
    "result",
    "ticks",
    "differ",
    "flash",
    "RAM",
    "State",
    "stack",
    "worst",
    "median",
    "share",
)
_COLOURS = {"equal": "green", "differs": "red", "failed": "red", "too large": "yellow", "not run": "yellow"}


def proof_text(proof: Proof, style: Style = PLAIN) -> str:
    """Write the table, what each column means, then the first difference of each controller."""
    top, *lines = table(_HEAD, [_cells(row) for row in proof.rows], right=frozenset(range(2, len(_HEAD))))
    for number, row in enumerate(proof.rows):
        lines[number] = lines[number].replace(row.outcome, style(row.outcome, _COLOURS[row.outcome]), 1)
    blocks = ["\n".join([style(top, "bold"), *lines]), "\n".join(_notes(proof))]
    blocks += [_trouble(row, style) for row in proof.rows if row.outcome != "equal" or row.reason]
    blocks.append(style(proof_words(proof), "bold"))
    return "\n\n".join(block for block in blocks if block)


def _cells(row: Row) -> tuple[str, ...]:
    sizes, cost = row.footprint, row.cost
    return (
        row.title,
        row.outcome,
        str(row.ticks) if row.ticks else "",
        str(row.differing) if row.ticks else "",
        *((str(n) for n in (sizes.flash, sizes.ram, sizes.state, sizes.stack)) if sizes else ("",) * 4),
        *(
            (f"{cost.worst} {cost.unit}", f"{cost.median:.0f}", f"{cost.share * 100:.2f} %")
            if cost
            else ("",) * 3
        ),
    )


def _notes(proof: Proof) -> list[str]:
    names = ", ".join(f"{clean(name)} ({ticks})" for name, ticks in proof.traces)
    lines = ["each trace (ticks) ran twice, as generated and with every comparison watched:"]
    lines += [f"  {line}" for line in wrap(names, 106)]
    clocks: dict[str, list[str]] = {}
    for row in proof.rows:
        if row.cost:
            rate = f"{row.cost.clock_hz / 1e6:g} MHz"
            if row.cost.unit == "instructions":
                rate += " and one cycle an instruction (real ones take more)"
            clocks.setdefault(rate, []).append(row.title.partition(",")[0])
    if clocks:
        lines += [
            "flash, RAM, State, stack: bytes of the sequencer; RAM holds State (or Machine) and Inputs.",
            f"share: of a tick of {proof.tick_ms} ms, for the worst tick,",
            *(f"  {' and '.join(titles)} at {rate}" for rate, titles in clocks.items()),
        ]
    return lines


def _trouble(row: Row, style: Style) -> str:
    head = style(f"{row.title}: {row.outcome}", _COLOURS[row.outcome], "bold")
    if row.first is None:
        text = f"{head}: {clean(row.reason)}"
        return "\n".join([text, *(f"  {clean(line)}" for line in row.output.splitlines()[-20:])])
    found, built = row.first.difference, "watched" if row.first.watched else "as generated"
    says = f"{row.differing} of {row.ticks} ticks; first in {row.first.trace}, {built}, tick {found.row}"
    values = f"{found.field} is {found.first} in the reference and {found.second} on the controller"
    states = [f"  {clean(line)}" for line in found.states.splitlines()]
    states = [
        line.replace("  first,", "  reference,", 1).replace("  second,", "  controller,", 1)
        for line in states
    ]
    return "\n".join([f"{head}: {clean(says)}: {clean(values)}", *states])


def proof_words(proof: Proof) -> str:
    """Sum a proof up in one line."""
    equal = [row for row in proof.rows if row.outcome == "equal"]
    words = [f"{len(equal)} of {len(proof.rows)} equal to the bit"] if equal else []
    for outcome in ("differs", "failed", "too large", "not run"):
        count = sum(row.outcome == outcome for row in proof.rows)
        words += [f"{count} {outcome}"] if count else []
    return f"{clean(proof.gait)}: {', '.join(words)}"


def proof_content(proof: Proof) -> dict[str, Any]:
    """Give a proof as an object: every row with its figures, null where there are none."""
    rows = [asdict(row) for row in proof.rows]
    traces = [{"name": name, "ticks": ticks} for name, ticks in proof.traces]
    return {
        "gait": proof.gait,
        "meaning": proof.sha,
        "tick_ms": proof.tick_ms,
        "traces": traces,
        "rows": rows,
        "equal": not proof.found and not proof.empty,
        "complete": proof.complete,
    }


def coverage_text(files: tuple[Covered, ...], style: Style = PLAIN) -> str:
    """Say how many branches of each generated file were taken, which were not, and why they cannot be."""
    head = ("branches of", "all", "taken", "cannot be", "not taken", "share")
    cells = [
        (
            clean(f.file),
            str(f.branches),
            str(f.taken),
            str(len(f.missed) - len(f.open)),
            str(len(f.open)),
            f"{f.share * 100:.1f} %",
        )
        for f in files
    ]
    top, *lines = table(head, cells, right=frozenset(range(1, len(head))))
    reasons: dict[str, int] = {}
    for missed in (missed for f in files for missed in f.missed if missed.reason):
        reasons[missed.reason] = reasons.get(missed.reason, 0) + 1
    lines += [f"  cannot be taken, {count}: {reason}" for reason, count in sorted(reasons.items())]
    for f in files:
        places: dict[tuple[int, str], int] = {}
        for missed in f.open:
            places[missed.line, missed.text] = places.get((missed.line, missed.text), 0) + 1
        lines += [
            f"  not taken, {count}: {clean(f.file)}:{line}: {clean(text)[:90]}"
            for (line, text), count in places.items()
        ]
    return "\n".join([style(top, "bold"), *lines])


def coverage_content(files: tuple[Covered, ...]) -> list[dict[str, Any]]:
    """Give the same as objects."""
    return [asdict(f) | {"taken": f.taken, "open": len(f.open), "share": f.share} for f in files]
