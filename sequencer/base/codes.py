"""The registry of codes: each finding's code, and what `explain`, the documentation and SARIF say about it.

Every ``codes_*`` module holds a tuple ``CODES``; here they are joined. Nothing heavy is imported.
"""

from collections.abc import Iterable

from sequencer.base import (
    codes_accept,
    codes_drives,
    codes_explore,
    codes_files,
    codes_graph,
    codes_guards,
    codes_leftovers,
    codes_names,
    codes_noise,
    codes_rules,
    codes_safety,
    codes_symmetry,
    codes_timing,
    codes_wiring,
)
from sequencer.base.codeinfo import CodeInfo


def _joined(parts: Iterable[tuple[CodeInfo, ...]]) -> dict[str, CodeInfo]:
    joined: dict[str, CodeInfo] = {}
    for part in parts:
        for info in part:
            if info.code in joined:
                raise ValueError(f"the code {info.code!r} stands in the registry twice")
            joined[info.code] = info
    return joined


CODES: dict[str, CodeInfo] = _joined(
    (
        codes_accept.CODES,
        codes_drives.CODES,
        codes_explore.CODES,
        codes_files.CODES,
        codes_graph.CODES,
        codes_guards.CODES,
        codes_leftovers.CODES,
        codes_names.CODES,
        codes_noise.CODES,
        codes_rules.CODES,
        codes_safety.CODES,
        codes_symmetry.CODES,
        codes_timing.CODES,
        codes_wiring.CODES,
    )
)
