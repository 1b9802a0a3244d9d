"""Codes of findings about sequences side by side: what their phases come to together."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_pair import (
    FRONT_READY,
    HIND_DONE,
    HIND_READY,
    PAIR,
    RING,
    RING_MENDED,
    RULE,
    changed_pair,
)
from sequencer.base.findings import Severity

CODES = (
    CodeInfo(
        "mutual-wait",
        "sequences wait for each other",
        Severity.ERROR,
        "A configuration can be reached in which several sequences stand in phases whose guards ask that another "
        "of them be elsewhere, so that none can ever go on, whatever is measured. Phases with a timeout count if "
        "that happens in a walk in which nothing goes wrong; then only the timeout, a fault, ends it.",
        "The machine stops in mid-walk without any sensor or joint being at fault, and nobody can say why.",
        changed_pair((FRONT_READY, FRONT_READY.replace("in: [ready]", "in: [done]"))),
        PAIR,
    ),
    CodeInfo(
        "phases-break-rule",
        "sequences can stand so that a rule is broken",
        Severity.ERROR,
        "A rule over the phases of sequences (not over what is measured) is broken in a configuration that can be "
        "reached. If the rule has a `to`, only walks in which nothing goes wrong count: it is there to be broken "
        "when something does.",
        "Two feet are in the air together and the machine falls.",
        changed_pair((HIND_READY, HIND_READY.replace("in: [done]", "in: [landing, done]"))),
        PAIR,
    ),
    CodeInfo(
        "leave-together",
        "sequences can leave in the same tick though each asked that another of them stay",
        Severity.WARNING,
        "Sequences see each other's phases as they stood when the tick began. If each of two guards asks that the "
        "other sequence still be in its phase, both can be true in one tick, and both leave. The same happens to "
        "three or more where each asks that some other of them stay, so that in no order one could follow "
        "another. It is told once, of all that can leave in one tick. Sequences that can only leave together are "
        "not meant: they go on side by side.",
        "Each leg waits until the other stands, both see it standing, and both feet come up at once.",
        changed_pair((HIND_READY, HIND_READY.replace("in: [done]", "in: [ready, done]")), (RULE, "")),
        changed_pair((RULE, "")),
    ),
    CodeInfo(
        "never-entered",
        "a phase is reachable in the graph but not in truth",
        Severity.WARNING,
        "Guards lead to a phase, and each of them could be true by itself; but whenever the walk stands before it, "
        "the other sequences or the counters stand otherwise than the guard asks. The recording shows how far the "
        "walk comes.",
        "A step that was written is never made, and it looks well in the diagram.",
        changed_pair((HIND_DONE, HIND_DONE.replace("in: [done]", "in: [landing]"))),
        PAIR,
    ),
    CodeInfo(
        "no-rest-together",
        "the sequences never all come to rest again",
        Severity.ERROR,
        "From some configuration that can be reached, the sequences go on for ever without all of them being in a "
        "rest or stop phase at the same time again, though each by itself could come to rest.",
        "There is always a foot in the air; the machine can be brought to stand only by cutting its power.",
        RING,
        RING_MENDED,
    ),
    CodeInfo(
        "not-finished",
        "not all configurations were looked at",
        Severity.NOTE,
        "Sequences side by side can stand in more configurations than the bound allows to look at. What was found "
        "holds; of what was not reached nothing is said. The bound counts configurations and tries, not time, so "
        "that it is the same on every machine.",
        "A fault may lie beyond the bound.",
        "",
        "",
    ),
)
