"""Steps beside a call that take too long, or raise what nobody catches. No assert waits on a clock."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from soakbell.beside import Beside


@pytest.fixture
def held() -> Iterator[threading.Event]:
    """What a step hangs on, until the test lets it go."""
    event = threading.Event()
    yield event
    event.set()


def hang_on(event: threading.Event) -> str:
    event.wait(60)
    return "late"


def why(text: str) -> str:
    return f"nothing: {text}"


def test_what_a_step_gives_is_told() -> None:
    assert Beside().told("week", lambda: "a week", why) == "a week"


def test_nothing_is_a_thing_to_tell_too() -> None:
    assert Beside().told("week", lambda: None, why) is None


def test_a_step_that_never_ends_is_given_up_and_told(held: threading.Event) -> None:
    assert Beside(0.05).told("week", lambda: hang_on(held), why) == "nothing: it took longer than 0.05 s"


def test_a_step_that_hangs_is_not_begun_again_while_it_does(held: threading.Event) -> None:
    beside = Beside(0.05)
    beside.told("week", lambda: hang_on(held), why)
    begun: list[str] = []
    again = beside.told("week", lambda: begun.append("week"), why)
    assert again == "nothing: what an earlier letter began has not ended"
    assert begun == []


def test_a_step_that_has_ended_at_last_is_begun_again(held: threading.Event) -> None:
    beside = Beside(0.05)
    beside.told("week", lambda: hang_on(held), why)
    held.set()
    (hanging,) = beside._running.values()
    hanging.join(60)
    assert beside.told("week", lambda: "a week", why) == "a week"


@pytest.mark.parametrize("fault", [SystemExit(3), KeyboardInterrupt(), MemoryError("no page left")], ids=repr)
def test_a_step_that_wants_to_end_the_process_is_told(fault: BaseException) -> None:
    def fails() -> str:
        raise fault

    assert Beside().told("week", fails, why).startswith(f"nothing: {type(fault).__name__}: ")
