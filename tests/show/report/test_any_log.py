"""Whatever stands in a file: it becomes a page, or one error that says where it is wrong."""

from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sequencer.base.errors import TraceError
from sequencer.show.report.document import ReportDocument
from sequencer.show.report.foreign import logs_document
from sequencer.show.report.pack import unpack
from sequencer.show.report.page import json_text

HEADS = [
    "time",
    "t",
    "time [ms]",
    "millis",
    "phase",
    "lf.phase",
    "rf.phase",
    "cause",
    "left_contact",
    "x [mm]",
]
HEADS += ["r_touch", "knee_target", "", "a,b", '"q"', "\u202ex", "phase ", "Time"]
CELLS = [
    "",
    "0",
    "1",
    "2",
    "-3.5",
    "1e400",
    "nan",
    "-inf",
    "swing",
    "lift left",
    "true",
    "NA",
    "1,5",
    " ",
    '"',
    '""',
]
CELLS += ["\u2066", "\r", "0x10", "9" * 25, "timeout", "\ufeff", "1.", ".5", "- 1"]
lists = st.integers(1, 6).flatmap(
    lambda width: st.tuples(
        st.lists(st.sampled_from(HEADS), min_size=width, max_size=width),
        st.lists(
            st.lists(st.sampled_from(CELLS), min_size=max(width - 1, 1), max_size=width + 1), max_size=9
        ),
        st.sampled_from([",", ";", "\t"]),
        st.sampled_from(["\n", "\r\n"]),
    )
)


def shown_or_told(path: Path, data: bytes) -> ReportDocument | None:
    path.write_bytes(data)
    try:
        document = logs_document([str(path)])
    except TraceError as error:
        assert error.message and error.place.line >= 1
        return None
    json_text(document)
    return document


def check(document: ReportDocument) -> None:
    """What is said of the phases fits together."""
    run = document.runs[0]
    for sequence, stays in zip(document.walk.sequences, run.stays, strict=True):
        start, end, phase = (unpack(part).tolist() for part in (stays.from_, stays.to, stays.phase))
        assert start[0] == run.start and end[-1] == run.end
        assert end[:-1] == start[1:]
        assert max(phase) < len(sequence.phases)
    assert len(unpack(run.moves.at)) == sum(len(unpack(stays.phase)) - 1 for stays in run.stays)
    for contact in run.contacts:
        assert all(a <= b for a, b in zip(unpack(contact.from_), unpack(contact.to), strict=True))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lists)
def test_any_table(tmp_path: Path, table: tuple[list[str], list[list[str]], str, str]) -> None:
    heads, rows, delimiter, end = table
    text = end.join(delimiter.join(row) for row in [heads, *rows]) + end
    document = shown_or_told(tmp_path / "any.csv", text.encode())
    if document is not None:
        check(document)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(0, 40), st.sampled_from(CELLS), st.sampled_from(CELLS)), max_size=40))
def test_any_rows_under_a_good_header(tmp_path: Path, rows: list[tuple[int, str, str]]) -> None:
    lines = [f"{i + step};{phase};{x}" for i, (step, phase, x) in enumerate(sorted(rows))]
    text = "time [ms];phase;left_touch\n" + "\n".join(lines) + "\n"
    document = shown_or_told(tmp_path / "rows.csv", text.encode())
    if document is not None:
        check(document)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=200))
def test_any_bytes(tmp_path: Path, data: bytes) -> None:
    shown_or_told(tmp_path / "bytes.csv", data)
    shown_or_told(tmp_path / "bytes.csv", b"time,phase\n0,a\n" + data)
