"""Many threads, requests and engines: correct answers and constant memory."""

from __future__ import annotations

import gc
import random
import subprocess
import sys
import textwrap
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import durable_rules_engine
import pytest

from rules.rulebook.engine import SESSIONS, Engine
from tests.oracles.plain_evaluator import answer_of, evaluate
from tests.support.random_rules import random_facts, random_overrides, random_rules, random_stated
from tests.support.rulebooks import book_of, joint, rule_entry, small_book, small_views

ROOT = Path(__file__).resolve().parents[3]


def test_eight_threads_get_each_their_own_answer() -> None:
    """Two thousand unlike requests on eight threads: every answer is the one plain Python gives."""
    rng = random.Random(8)
    rules = random_rules(rng, most=40)
    book = book_of(rules)
    engine = Engine(book)
    drawn = [(random_facts(rng, 11), random_overrides(rng, rules), random_stated(rng)) for _ in range(2_000)]
    requests = [(facts, overrides, small_views(facts, stated)) for facts, overrides, stated in drawn]
    expected = [evaluate(book, *request) for request in requests]
    assert len({repr(answer) for answer in expected}) > 500
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda request: answer_of(engine.judge(*request)), requests))
    assert answers == expected


def test_more_threads_than_sessions_wait_their_turn() -> None:
    """Half as many again, all let go at once."""
    engine = Engine(small_book())
    count = SESSIONS + SESSIONS // 2
    together = threading.Barrier(count)

    def ask(number: int) -> int:
        together.wait()
        short = [joint(f"{place}/x", grip_length_mm=1.0, minimum_grip_mm=2.0) for place in range(number)]
        return sum(len(engine.judge(short).fired) for _ in range(3))

    with ThreadPoolExecutor(count) as pool:
        assert list(pool.map(ask, range(count))) == [3 * number for number in range(count)]


def test_engines_on_one_book_share_a_compiled_set_and_leave_nothing_behind() -> None:
    """The set goes with its last engine; another book has another."""
    first, second = Engine(small_book()), Engine(small_book())
    other = Engine(book_of([rule_entry("LOAD-010")]))
    assert first._portions[0]._set is second._portions[0]._set
    assert other._portions[0]._set is not first._portions[0]._set
    handle = other._portions[0]._set._handle
    del other
    gc.collect()
    # The core refuses a handle it has taken back.
    with pytest.raises(durable_rules_engine.error, match="error code: 111"):
        durable_rules_engine.assert_fact(handle, '{"sid":"0","key":0,"kind":"joint"}')


PREAMBLE = """
    import gc, random, resource
    from rules.rulebook.engine import Engine
    from tests.support.random_rules import random_facts, random_rules
    from tests.support.rulebooks import book_of, small_book, joint, stack

    def megabytes():
        with open("/proc/self/statm") as file:
            return int(file.read().split()[1]) * resource.getpagesize() / 1e6
"""

JUDGING = """
    engine = Engine(small_book())
    clean = [joint(grip_length_mm=50.0, minimum_grip_mm=20.0, clearance_um=1.0)]
    short = joint(grip_length_mm=5.0, minimum_grip_mm=20.0, clearance_um=1.0)
    objected = [short, stack(("total_mass_kg",), allowed_mass_kg=8.0)]
    def run(count):
        for _ in range(count // 2):
            assert not engine.judge(clean).fired
            assert len(engine.judge(objected).fired) == 2
    run(5_000)
    before = megabytes()
    run(50_000)
    print(megabytes() - before)
"""

COMPILING = """
    rng = random.Random(4)
    books = [book_of(random_rules(rng)) for _ in range(20)]
    requests = [random_facts(rng) for _ in range(20)]
    def run(count):
        for number in range(count):
            engine = Engine(books[number % 20])
            for facts in requests:
                engine.judge(facts)
    run(100)
    before = megabytes()
    run(400)
    print(megabytes() - before)
"""


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="reads the memory of Linux processes")
@pytest.mark.parametrize("script", [JUDGING, COMPILING], ids=["fifty thousand judgements", "four hundred engines"])
def test_memory_stays_flat(script: str) -> None:
    """In a process of its own: less than three megabytes more at the end than after warming up."""
    code = textwrap.dedent(PREAMBLE) + textwrap.dedent(script)
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    assert float(done.stdout) < 3.0
