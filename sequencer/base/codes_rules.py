"""Codes of what is known about rules."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import ANYWHERE, WALK, changed
from sequencer.base.findings import Severity

_RULE = """\
rules:
  - name: level while the foot is up
    while: {signal: knee, above: 8 mm}
    must: {signal: tilt, within: [%s deg, %s deg]}
"""

CODES = (
    CodeInfo(
        "rule-proven",
        "a rule cannot be broken",
        Severity.NOTE,
        "Whatever the signals read within their spans, and whatever the parameters are trimmed to within theirs, the "
        "rule's `while` is never true with its `must` false. Sensors that read outside their spans are not covered. A rule "
        "over phases is proven by looking at every configuration that the sequences can come to, with the parameters as "
        "they stand.",
        "Nothing is wrong. If the rule was meant to catch something, its thresholds do not.",
        changed((ANYWHERE, ANYWHERE + _RULE % (-45, 45))),
        WALK,
    ),
    CodeInfo(
        "rule-watched",
        "a rule is only watched at run time",
        Severity.NOTE,
        "There are values within the spans that break the rule, as in the example, or it could not be told: a rule over "
        "phases where exploring was not finished or left out. The controller judges it at every tick; without a `to` it "
        "only reports.",
        "The rule is as good as the sensors, and comes into force when it is already broken.",
        changed((ANYWHERE, ANYWHERE + _RULE % (-10, 10))),
        WALK,
    ),
)
