"""What is told about one code of a finding."""

from dataclasses import dataclass

from sequencer.base.findings import Severity


@dataclass(frozen=True, slots=True)
class CodeInfo:
    """One entry of the registry: everything that can be said about a code without a file at hand.

    code: the slug, for example ``dead-end``.
    title: a few words, no full stop.
    severity: the usual one; a single finding may be milder or harsher where its text says so.
    explanation: what the check looks for, in plain sentences.
    why: what happens on a real machine if it is left as it is.
    bad: a whole gait file, machine inline, in which the finding is raised; empty if text cannot show it.
    good: the same file, mended; empty where `bad` is.
    """

    code: str
    title: str
    severity: Severity
    explanation: str
    why: str
    bad: str
    good: str
