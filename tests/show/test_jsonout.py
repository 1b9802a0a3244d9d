import json

import numpy as np

from sequencer.base.findings import Finding, Severity
from sequencer.base.places import NOWHERE, Place
from sequencer.show.jsonout import document, findings_document


def test_a_findings_document_has_every_key_even_if_empty() -> None:
    whole = json.loads(
        findings_document(
            [
                Finding(
                    "dead-end", Severity.ERROR, Place("a.yaml", 3, 5), "no way out", notes=((NOWHERE, "see"),)
                ),
            ]
        )
    )
    assert whole["document"] == "findings"
    assert whole["version"] == 1
    assert whole["counts"] == {"error": 1, "warning": 0, "note": 0}
    assert whole["findings"] == [
        {
            "code": "dead-end",
            "severity": "error",
            "place": {"file": "a.yaml", "line": 3, "column": 5},
            "message": "no way out",
            "expected": "",
            "example": "",
            "fix": "",
            "notes": [{"place": None, "text": "see"}],
            "edits": [],
        }
    ]


# reference: RFC 8259, section 6: numeric values such as Infinity and NaN are not permitted
def test_numbers_that_json_lacks_become_null_and_numpy_numbers_plain() -> None:
    text = document(
        "run", {"a": float("nan"), "b": [np.float32("inf"), np.uint16(3)], "c": (1, np.float32(0.5))}
    )
    assert "NaN" not in text and "Infinity" not in text
    whole = json.loads(text)
    assert (whole["a"], whole["b"], whole["c"]) == (None, [None, 3], [1, 0.5])
