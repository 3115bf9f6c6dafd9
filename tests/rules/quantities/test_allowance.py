"""Work counts are deterministic and limited by allowances, and never change a result."""

from __future__ import annotations

import threading

import pytest

from rules.assessor import Assessor
from rules.quantities.work_limit import Allowance, TooMuchWorkError, allowing, charge
from rules.random_vectors.random_sum import resultant_quantiles
from rules.schema.parsing import parse_request
from tests.support.costly_stacks import SPREAD_UM, costly_stack
from tests.support.stacks import assessor


@pytest.fixture(scope="module")
def judge() -> Assessor:
    return assessor()


@pytest.mark.parametrize(("steps", "fits"), [(9, False), (10, True), (11, True), (None, True)])
def test_the_limit_itself_is_allowed(steps: int | None, fits: bool) -> None:
    """Boundary trio, and no limit at all."""
    allowance = Allowance(steps)
    with allowing(allowance):
        charge(4)
        if fits:
            charge(6)
        else:
            with pytest.raises(TooMuchWorkError):
                charge(6)
    assert allowance.spent == 10


def test_without_an_allowance_nothing_is_bounded() -> None:
    """Neither before one was given nor when it is over."""
    with allowing(Allowance(1)):
        pass
    charge(10**30)


def test_an_inner_allowance_does_not_widen_the_outer() -> None:
    """Both count."""
    outer, inner = Allowance(10), Allowance(100)
    with allowing(outer), allowing(inner), pytest.raises(TooMuchWorkError):
        charge(11)
    assert outer.spent == 11
    with allowing(Allowance()), allowing(Allowance(1)), pytest.raises(TooMuchWorkError):
        charge(2)


def test_another_thread_may_stop_it() -> None:
    """Work that nobody waits for any more ends where it next counts."""
    allowance, going = Allowance(), threading.Event()
    ended: list[type[BaseException]] = []

    def work() -> None:
        try:
            with allowing(allowance):
                while True:
                    charge(1)
                    going.set()
        except TooMuchWorkError as error:
            ended.append(type(error))

    thread = threading.Thread(target=work)
    thread.start()
    assert going.wait(10)
    allowance.stop()
    thread.join(10)
    assert ended == [TooMuchWorkError]


def test_a_thread_of_its_own_is_not_bounded_by_another() -> None:
    """An allowance holds where it was given."""
    errors: list[BaseException] = []

    def work() -> None:
        try:
            charge(2)
        except TooMuchWorkError as error:
            errors.append(error)

    with allowing(Allowance(1)):
        thread = threading.Thread(target=work)
        thread.start()
        thread.join()
    assert not errors


def test_a_result_does_not_depend_on_what_was_allowed() -> None:
    """To the last bit."""
    levels = (0.5, 0.95)
    with allowing(Allowance(10**9)):
        bounded = resultant_quantiles(levels, SPREAD_UM)
    assert bounded.tolist() == resultant_quantiles(levels, SPREAD_UM).tolist()


def test_the_same_request_counts_the_same(judge: Assessor) -> None:
    """What is refused once is refused always: nothing that was worked out before makes the next one cheaper."""
    request = parse_request({"stack": costly_stack()})
    counts = []
    for _ in range(2):
        allowance = Allowance()
        with allowing(allowance):
            judge.assess(request)
        counts.append(allowance.spent)
    assert counts[0] == counts[1]


def test_a_stack_of_hostile_numbers_counts_hundreds_of_times_what_another_does(judge: Assessor) -> None:
    """The count tells apart what the contract does not."""
    hostile, tame = Allowance(), Allowance()
    with allowing(hostile):
        judge.assess(parse_request({"stack": costly_stack()}))
    stack = costly_stack()
    for part in stack["components"]:
        part["runout"]["statements"][0]["tir_um"] = 3.0
    with allowing(tame):
        judge.assess(parse_request({"stack": stack}))
    assert hostile.spent > 100 * tame.spent
