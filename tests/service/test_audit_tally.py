"""The figures of an audit are exact, deterministic and bounded in size."""

from __future__ import annotations

import json
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.assessor import Assessor
from rules.schema.parsing import BadRequestError, Fault
from service.audit.tally import BAD_LINES_TOLD, BIN_UM, BINS, WORST_TOLD, Tally, bin_of, problem_words
from service.batch.lines import LineAnswer, problem_answer
from service.operations.problems import ProblemError, invalid_request
from tests.support.audits import fake_answer
from tests.support.stacks import assessor as shared_assessor


def tally_of(assessor: Assessor) -> Tally:
    """Return an empty tally of two libraries."""
    return Tally(assessor.book, None, ["a", "b"])


def bad(number: int) -> LineAnswer:
    """Return the answer to a line that is no request."""
    return problem_answer(number, ProblemError("invalid-request", f"line {number} is wrong"))


@pytest.mark.parametrize("answers", [20_000, pytest.param(100_000, marks=pytest.mark.long)])
def test_memory_does_not_grow_with_the_library(assessor: Assessor, answers: int) -> None:
    """First principles: after many answers more, of all kinds, no more is kept than after the first 2 000."""
    codes = [rule.code for rule in assessor.book.rules]

    def answer(number: int) -> LineAnswer:
        if number % 50 == 0:
            return bad(number)
        some = tuple(codes[(number * step) % len(codes)] for step in (1, 7, 11))
        return fake_answer(number, codes=some, undecided=some[:1], p95_um=number * 37 % 1000 / 7)

    tally = tally_of(assessor)
    for number in range(2000):
        tally.add(0, answer(number))
    tracemalloc.start()
    try:
        for number in range(answers):
            tally.add(1, answer(number))
        kept, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert kept < 64 * 1024
    assert len(json.dumps(tally.dump())) < 64 * 1024
    assert sum(tally.stacks) + sum(tally.bad) == 2000 + answers


_ANSWERS = st.lists(
    st.tuples(
        st.integers(0, 1),
        st.lists(st.sampled_from(["GRIP-010", "RUN-010", "OVH-020", "STF-030", "OVH-010"]), unique=True),
        st.none() | st.sampled_from([3.0, 12.5, 12.50001, 400.0]),
    ),
    max_size=40,
)


@given(_ANSWERS)
def test_the_worst_are_the_first_of_all_sorted(drawn: list[tuple[int, list[str], float | None]]) -> None:
    """First principles: errors, then warnings, then runout, then the order of the libraries, by sorting everything."""
    book = shared_assessor().book
    tally = tally_of(shared_assessor())
    ranked = []
    for number, (library, codes, p95_um) in enumerate(drawn):
        tally.add(library, fake_answer(number, codes=tuple(codes), p95_um=p95_um))
        severities = [book.rule(code).severity for code in codes]
        runout = -1.0 if p95_um is None else p95_um
        ranked.append((-severities.count("error"), -severities.count("warning"), -runout, library, number))
    told = [(one.library, one.line) for one in tally.summary().worst]
    assert told == [("ab"[rank[3]], rank[4]) for rank in sorted(ranked)[:WORST_TOLD]]


@given(_ANSWERS, st.integers(0, 40))
def test_a_tally_goes_on_from_what_it_dumped(drawn: list[tuple[int, list[str], float | None]], cut: int) -> None:
    """First principles: dumped to JSON and loaded at any point, the summary at the end is the same."""
    whole, first, second = (tally_of(shared_assessor()) for _ in range(3))
    answers = [
        (library, fake_answer(number, codes=tuple(codes), p95_um=p95_um))
        for number, (library, codes, p95_um) in enumerate(drawn)
    ]
    for library, one in [*answers, (0, bad(99))]:
        whole.add(library, one)
    for library, one in answers[:cut]:
        first.add(library, one)
    second.load(json.loads(json.dumps(first.dump())))
    for library, one in [*answers[cut:], (0, bad(99))]:
        second.add(library, one)
    assert second.summary() == whole.summary()


def test_only_the_first_bad_lines_are_told(assessor: Assessor) -> None:
    """All are counted; the first ones are told with what is wrong."""
    tally = tally_of(assessor)
    for number in range(1, 100):
        tally.add(1, bad(number))
    summary = tally.summary()
    assert summary.bad_lines == summary.libraries[1].bad_lines == 99
    assert [one.line for one in summary.first_bad_lines] == list(range(1, BAD_LINES_TOLD + 1))
    assert summary.first_bad_lines[0].detail == "line 1 is wrong"


def test_codes_are_told_gravest_first_then_most_frequent(assessor: Assessor) -> None:
    """Errors before warnings before advice; within them by number, then by code."""
    tally = tally_of(assessor)
    for number, codes in enumerate((["OVH-010"], ["OVH-010", "GRIP-010"], ["OVH-020"], ["RUN-010", "GRIP-010"])):
        tally.add(0, fake_answer(number, codes=tuple(codes)))
    assert [(one.code, one.stacks) for one in tally.summary().findings] == [
        ("GRIP-010", 2),
        ("RUN-010", 1),
        ("OVH-020", 1),
        ("OVH-010", 2),
    ]


@pytest.mark.parametrize("place", range(BINS))
def test_a_runout_on_an_edge_belongs_to_the_bin_above(place: int) -> None:
    """First principles: a bin holds from ≤ value < to; just below the edge is the bin before."""
    edge = place * BIN_UM
    assert bin_of(edge) == place
    assert bin_of(edge + BIN_UM - 1e-9) == place
    assert place == 0 or bin_of(edge - 1e-9) == place - 1


def test_problems_are_told_in_a_line() -> None:
    """The first places with what is wrong there, else the detail; a fault of the program is told apart."""
    assert problem_words(problem_answer(1, ProblemError("internal-fault", "It failed.")).text) == ("It failed.", True)
    error = invalid_request(BadRequestError(Fault(f"/{place}", "is wrong") for place in "abcde"))
    words = "/a is wrong; /b is wrong; /c is wrong; and 2 more"
    assert problem_words(problem_answer(1, error).text) == (words, False)
