"""A run as a JSON document."""

from typing import Any

from sequencer.history.blocks import (
    BY_ANYWHERE,
    BY_GUARD,
    BY_RESET,
    BY_RULE,
    BY_TIMEOUT,
    OUTPUT_CUT,
    RULE_BROKEN,
)
from sequencer.history.cause import Wait, cause_words
from sequencer.history.machine import Verdict
from sequencer.history.margins import detail_kept
from sequencer.history.run import Run, Transition
from sequencer.history.summary import Summary
from sequencer.show.jsonout import document, place_object
from sequencer.show.runs import failed, stuck_at_end

_KINDS = {
    BY_RESET: "reset",
    BY_TIMEOUT: "timeout",
    BY_GUARD: "guard",
    BY_ANYWHERE: "anywhere",
    BY_RULE: "rule",
}


def run_document(run: Run, summary: Summary) -> str:
    """Return the whole run: figures, every transition, broken rules, samples, faults. Times are in ms."""
    content = {**_figures(run, summary), **_happened(run, summary), "samples": _samples(run)}
    if run.machine is not None:
        content["machine_did"] = _verdict(run.machine)
    return document("run", content)


def _verdict(verdict: Verdict) -> dict[str, Any]:
    """Say whether the machine, by its telemetry, did the same."""
    parting = verdict.parting
    return {
        "words": verdict.words,
        "same": parting is None,
        "differs": verdict.differs,
        "every_tick": verdict.every_tick,
        "ticks": verdict.lines,
        "first": None
        if parting is None
        else {
            "tick": parting.tick,
            "at_ms": parting.at_ms,
            "line": parting.line,
            "what": parting.what,
            "machine": parting.machine,
            "dry_run": parting.dry,
        },
    }


def _figures(run: Run, summary: Summary) -> dict[str, Any]:
    plan, tightest = run.plan, summary.tightest
    spare = None
    if tightest is not None:
        spare = {
            "way": summary.tightest_way,
            "signal": plan.signals[tightest.signal].name,
            "to_spare": tightest.amount,
            "unit": tightest.unit,
            "at_ms": tightest.best_ms,
        }
    return {
        "gait": plan.name,
        "machine": plan.machine,
        "meaning": plan.sha,
        "failed": failed(run),
        "summary": summary.words,
        "ticks": run.ticks,
        "start_ms": run.start_ms,
        "end_ms": run.end_ms,
        "steps": {"count": summary.steps, "of": summary.steps_of},
        "cycles": summary.cycles,
        "tightest": spare,
        "counters": {c.name: n for c, n in zip(plan.counters, run.counters, strict=True)},
        "refused_writes": run.refused,
    }


def _happened(run: Run, summary: Summary) -> dict[str, Any]:
    return {
        "transitions": [_transition(run, move) for move in run.transitions],
        "rules": [
            {
                "name": run.plan.rules[i.which].name,
                "state": "broken" if i.state == RULE_BROKEN else "unjudged",
                "from_ms": i.from_ms,
                "to_ms": i.to_ms,
            }
            for i in run.rules
        ],
        "outputs": [
            {
                "name": run.plan.outputs[i.which].name,
                "state": "cut" if i.state == OUTPUT_CUT else "stalled",
                "from_ms": i.from_ms,
                "to_ms": i.to_ms,
            }
            for i in run.stopped_outputs
        ],
        "drives_off": [{"from_ms": i.from_ms, "to_ms": i.to_ms} for i in run.drives_off],
        "faults": [
            {"kind": f.kind, "at_ms": f.at_ms, "message": f.words, "place": place_object(f.place)}
            for f in summary.faults
        ],
        "waiting": [_waiting(wait) for wait in stuck_at_end(run)],
    }


def _samples(run: Run) -> dict[str, Any]:
    return {
        signal.name: {
            "not_finite": totals.bad,
            "not_believed": totals.disbelieved,
            "outside_span": totals.outside,
            "skipped": totals.skipped,
        }
        for signal, totals in zip(run.plan.signals, run.signals, strict=True)
    }


def _transition(run: Run, move: Transition) -> dict[str, Any]:
    sequence = run.plan.sequences[move.sequence]
    return {
        "tick": move.tick,
        "at_ms": move.at_ms,
        "sequence": sequence.name,
        "from": None if move.left is None else sequence.phases[move.left].name,
        "to": sequence.phases[move.entered].name,
        "after_ms": move.stayed_ms,
        "cause": _KINDS[move.kind],
        "number": None if move.kind in (BY_RESET, BY_TIMEOUT) else move.index + 1,
        "because": cause_words(run.plan, move, detail_kept(run)),
    }


def _waiting(wait: Wait) -> dict[str, Any]:
    return {
        "phase": wait.phase_name,
        "from_ms": wait.from_ms,
        "to_ms": wait.to_ms,
        "message": wait.words,
        "place": place_object(wait.place),
    }
