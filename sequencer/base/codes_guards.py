"""Codes of findings about what guards ask and in which order."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import ANYWHERE, GO, LIFT_DONE, WALK, changed
from sequencer.base.findings import Severity

_EITHER = "      - {to: standing, when: {signal: tilt, above: 5 deg}}\n"
_APART = (
    "      - to: lower\n        hold: 3 samples\n        when:\n"
    "          all: [{at_target: bend, tolerance: 3 mm}, {signal: tilt, at_most: 5 deg}]\n"
)
_WIDE = "      - {to: lower, when: {signal: knee, at_least: 30 mm}}\n"
_NARROW = "      - {to: standing, when: {signal: knee, at_least: 38 mm}}\n"

CODES = (
    CodeInfo(
        "never-true",
        "a guard can never be true",
        Severity.ERROR,
        "Whatever the signals read within their spans, the guard is not true: its threshold lies outside the "
        "span, two of its parts exclude each other, or what the phase commands keeps it from being met. "
        "Parameters are taken as they stand; if trimming helps, the finding says so.",
        "The machine waits in this phase for something that cannot happen, until the timeout ends the walk.",
        changed((LIFT_DONE, "      - {to: lower, when: {signal: knee, at_least: 65 mm}, hold: 3 samples}\n")),
        changed((LIFT_DONE, "      - {to: lower, when: {signal: knee, at_least: 37 mm}, hold: 3 samples}\n")),
    ),
    CodeInfo(
        "held-event",
        "a hold on something that lasts one tick",
        Severity.ERROR,
        "An event is true for the one tick in which it arrives, so a guard that needs one and must stay true for "
        "longer never fires.",
        "The button does nothing; if it is halt, the machine walks on.",
        changed((GO, "      - {to: lift, when: {event: go}, hold: 200 ms}\n")),
        WALK,
    ),
    CodeInfo(
        "always-true",
        "a guard is always true",
        Severity.WARNING,
        "Whatever the signals read within their spans, the guard is true as long as they are heard. The phase is "
        "walked through; with a hold it ends as if by a stopwatch. Under `anywhere` it is an error. A rule whose "
        "`must` is always true watches nothing. A guard that waits for a lost signal to come back is none of these.",
        "The foot is not up yet when the machine begins to set it down or shifts its weight onto it.",
        changed((LIFT_DONE, "      - {to: lower, when: {signal: knee, at_least: 0 mm}, hold: 3 samples}\n")),
        changed((LIFT_DONE, "      - {to: lower, when: {signal: knee, at_least: 37 mm}, hold: 3 samples}\n")),
    ),
    CodeInfo(
        "idle-part",
        "a part of a guard changes nothing",
        Severity.WARNING,
        "A comparison inside `all`, `any` or `not` comes out the same whatever the signal reads within its span, "
        "so the guard would do the same without it.",
        "The protection that was meant (a tilt limit, a battery limit) is not there.",
        changed((ANYWHERE, ANYWHERE.replace("[-25 deg, 25 deg]", "[-50 deg, 50 deg]"))),
        WALK,
    ),
    CodeInfo(
        "undecided",
        "a question about a guard was not decided",
        Severity.NOTE,
        "Whether a guard can be true, or be true together with another, was given up after a fixed number of "
        "the solver's steps, the same on every machine. No claim is made either way.",
        "The guard is so involved that nobody reads it rightly at the bench either.",
        "",
        "",
    ),
    CodeInfo(
        "order-decides",
        "two guards can be true in the same tick",
        Severity.NOTE,
        "Two guards of a phase, or two `anywhere` entries, lead to different phases and can be true together. The "
        "one that stands first wins. (So does W3C SCXML, which takes the first in document order.)",
        "Which way the machine goes depends on the order of two lines in a file.",
        changed((LIFT_DONE, LIFT_DONE + _EITHER)),
        changed((LIFT_DONE, _APART + _EITHER)),
    ),
    CodeInfo(
        "shadowed-guard",
        "a guard never wins against those before it",
        Severity.WARNING,
        "Whenever the guard is true, an earlier guard of the phase is true as well and has waited at least as "
        "long, or several earlier ones without a hold leave it nothing. An earlier guard with a longer hold does "
        "not shadow a later one.",
        "The way out that was written for the special case is never taken.",
        changed((LIFT_DONE, _WIDE + _NARROW)),
        changed((LIFT_DONE, _NARROW + _WIDE)),
    ),
    CodeInfo(
        "shadowed-by-anywhere",
        "a guard never wins against what is watched anywhere",
        Severity.WARNING,
        "Whenever the guard is true, an `anywhere` entry is true as well: it goes first, or, in the phase that it "
        "leads to, keeps the machine there.",
        "The way out of a phase is never taken; out of a stop phase that means no way to go on.",
        changed((LIFT_DONE, LIFT_DONE + "      - {to: standing, when: {event: halt}}\n")),
        WALK,
    ),
)
