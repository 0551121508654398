"""The week in the letters of one boat; nothing that goes wrong with it reaches the call. INVENTED DATA."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as tries
from hypothesis import strategies as st

from law.world import NOW, World
from plan_scenes import CONFIG, FIVE_TOML, OUTFIT, SOAKED_DAYS, TERMS, TODAY, sea_of
from soakbell import desk as desk_module
from soakbell import plan_desk
from soakbell.beside import Beside
from soakbell.checking import check_all
from soakbell.clock import SetClock
from soakbell.desk import Desk
from soakbell.errors import FetchFailed, HostNotFound
from soakbell.feeds.transport import Ask
from soakbell.gear.catch import CatchBook
from soakbell.gear_desk import GearDesk
from soakbell.letters.plan_section import NO_CALL_OF_ITS_OWN, TITLE
from soakbell.planning.call import CallWord
from soakbell.planning.plan_terms import PlanTerms
from soakbell.sea.sources import RawReply
from soakbell.season_desk import SeasonDesk
from soakbell.settings import load_settings
from soakbell.store import letters, log, replies
from soakbell.store.engine import Store, open_store
from soakbell.store.letters import WrittenLetter
from soakbell.store.log_keeper import LogKeeper
from soakbell.store.upgrade import migrate
from trust_scenes import RECORD


class NobodyAnswers:
    def fetch(self, ask: Ask) -> RawReply:
        raise FetchFailed(f"{ask.url}: nobody answers", retry=True)


@dataclass
class Port:
    """A boat with its database and what is on hand of the sources."""

    sea: World
    store: Store
    terms: PlanTerms | str | None = None
    now: datetime = NOW

    @property
    def desk(self) -> Desk:
        clock = SetClock(self.now)
        return Desk(self.sea.settings, self.store, clock, NobodyAnswers(), outfit=OUTFIT, terms=self.terms)

    def morning(self, terms: PlanTerms | str | None = TERMS) -> WrittenLetter:
        return replace(self, terms=terms).desk.write("morning", TODAY, 0, late=False, clock_suspect=False)

    def keep(self, letter: WrittenLetter) -> None:
        """Store the morning letter as the sweep does."""
        boat, zone = self.sea.settings.boat.name, self.sea.settings.harbor.time_zone
        with self.store.writing() as session:
            letters.ensure_due(session, boat, "morning", TODAY, 0, zone, NOW, NOW + timedelta(hours=6))
            claim = letters.claim_due(session, boat, NOW, lease_s=120)
            assert claim is not None
            letters.write_letter(session, claim, letter, NOW)

    def hear(self, sea: World, at: datetime) -> None:
        """What the sources say anew."""
        with self.store.writing() as session:
            for pages in sea.on_hand().replies.values():
                replies.keep_reply(session, replace(pages[0], fetched_at=at))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


def port_of(sea: World, folder: Path) -> Port:
    store = open_store(f"sqlite:///{folder / 'soakbell.db'}")
    migrate(store)
    with store.writing() as session:
        log.append_entries(session, sea.entries)
        for pages in sea.on_hand().replies.values():
            replies.keep_reply(session, pages[0])
    return Port(sea, store)


@pytest.fixture
def calm(folder: Path) -> Iterator[Port]:
    port = port_of(sea_of(), folder)
    yield port
    port.store.close()


@pytest.fixture
def windy(folder: Path) -> Iterator[Port]:
    port = port_of(sea_of(wind_kt=17), folder)
    yield port
    port.store.close()


def text_of(letter: WrittenLetter) -> str:
    message = message_from_bytes(letter.message, policy=policy.default)
    assert isinstance(message, EmailMessage)
    body = message.get_body(("plain",))
    assert body is not None
    return " ".join(str(body.get_content()).split())


def call_of(letter: WrittenLetter) -> object:
    assert letter.call is not None
    detail = {key: value for key, value in letter.call.detail.items() if key != "made_from"}
    return letter.call.word, detail


def test_a_pull_letter_tells_the_week_and_what_staying_in_costs(calm: Port) -> None:
    letter = calm.morning()
    assert letter.call is not None
    assert letter.call.word == CallWord.PULL
    text = text_of(letter)
    assert TITLE in text
    assert "staying in until" in text
    assert "Tue 8 Dec, called: " in text
    assert NO_CALL_OF_ITS_OWN in text


def test_a_wait_letter_tells_the_next_trip_of_the_plan(windy: Port) -> None:
    text = text_of(windy.morning())
    assert "The next trip of the plan is" in text
    assert "Tue 8 Dec, wait: no trip" in text


def test_beside_no_call_no_day_is_planned(folder: Path) -> None:
    sea = sea_of()
    port = port_of(replace(sea, replies={}), folder)
    letter = port.morning()
    assert letter.call is not None
    assert letter.call.word == CallWord.NO_CALL
    assert TITLE not in text_of(letter)
    port.store.close()


def test_where_nothing_is_set_up_nothing_is_told(calm: Port) -> None:
    assert TITLE not in text_of(calm.morning(terms=None))


@pytest.mark.parametrize("terms", [None, "plan.toml: plan.horizon: found a key that isn't known\nsecond fault"])
def test_the_call_is_the_same_with_a_plan_without_one_and_with_a_broken_one(
    calm: Port, terms: PlanTerms | str | None
) -> None:
    assert call_of(calm.morning()) == call_of(calm.morning(terms=terms))


def test_a_broken_plan_file_is_told_in_short(calm: Port) -> None:
    text = text_of(calm.morning(terms="plan.toml: plan.horizon: found 3\nsecond fault"))
    assert (
        "The week could not be planned: plan.toml: plan.horizon: found 3; the command check tells 1 more" in text
    )


@pytest.mark.parametrize(
    "step",
    [
        "plan_week",
        "fit_curve",
        "kept_record",
        "on_hand",
        "bait_shares",
        "trap_limit",
        "opened_on",
        "season_end",
        "usual_weather",
    ],
)
def test_whatever_fails_in_planning_costs_the_plan_and_not_the_call(
    calm: Port, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    whole = call_of(calm.morning())

    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("a worm in the plan")

    monkeypatch.setattr(plan_desk, step, fails)
    if step == "on_hand":  # only asked where bait was told of
        monkeypatch.setattr(plan_desk.PlanDesk, "_baits", fails)
    letter = calm.morning()
    assert call_of(letter) == whole
    assert "The week could not be planned: RuntimeError: a worm in the plan" in text_of(letter)


def test_a_letter_names_the_waters_that_no_forecast_was_ever_held_against(
    windy: Port, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One station inside and strings outside: the record from inside makes nothing outside look surer."""
    monkeypatch.setattr(plan_desk, "kept_record", lambda *_: RECORD)
    text = text_of(windy.morning())
    assert "In Outer Bay nothing is on record, so nothing is taken for surer than from memory." in text
    assert "taken from memory until 30 days are on record; none so far." in text


@pytest.fixture
def held() -> Iterator[threading.Event]:
    """What a step hangs on, until the test lets it go."""
    event = threading.Event()
    yield event
    event.set()


@pytest.mark.parametrize("step", ["plan_week", "fit_curve"])
def test_a_plan_that_never_ends_costs_the_plan_and_not_the_call(
    calm: Port, monkeypatch: pytest.MonkeyPatch, held: threading.Event, step: str
) -> None:
    whole = call_of(calm.morning())
    monkeypatch.setattr(plan_desk, step, lambda *_, **__: held.wait(60))
    monkeypatch.setattr("soakbell.desk.Beside", lambda: Beside(0.5))
    letter = calm.morning()
    assert call_of(letter) == whole
    assert "The week could not be planned: it took longer than 0.5 s." in text_of(letter)


def test_a_fit_that_hangs_holds_up_no_later_one(
    calm: Port, monkeypatch: pytest.MonkeyPatch, held: threading.Event
) -> None:
    desk, whole, begun = replace(calm, terms=TERMS).desk, plan_desk.fit_curve, threading.Event()

    def hangs(*given: object) -> object:
        begun.set()
        held.wait(60)
        return whole(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(plan_desk, "fit_curve", hangs)
    threading.Thread(target=lambda: desk.plan.curves(NOW), daemon=True).start()
    assert begun.wait(60)
    monkeypatch.setattr(plan_desk, "fit_curve", whole)
    second = threading.Thread(target=lambda: desk.plan.curves(NOW), daemon=True)
    second.start()
    second.join(20)
    assert not second.is_alive()


LEFT_OUT = "An earlier try of this letter failed or broke off, so this one leaves out"


def test_a_later_try_of_a_letter_says_once_what_it_leaves_out(calm: Port) -> None:
    """In December the end of the season is not in sight."""
    letter = replace(calm, terms=TERMS).desk.write(
        "morning", TODAY, 0, late=False, clock_suspect=False, alone=True
    )
    assert call_of(letter) == call_of(calm.morning())
    assert f"{LEFT_OUT} gear and the week's plan." in text_of(letter)
    assert "could not be" not in text_of(letter)
    assert "eason's end" not in text_of(letter)


def test_a_later_try_leaves_out_nothing_that_is_not_set_up(calm: Port) -> None:
    assert f"{LEFT_OUT} gear." in text_of(
        calm.desk.write("morning", TODAY, 0, late=False, clock_suspect=False, alone=True)
    )
    bare = Desk(calm.sea.settings, calm.store, SetClock(NOW), NobodyAnswers())
    told = text_of(bare.write("morning", TODAY, 0, late=False, clock_suspect=False, alone=True))
    assert "earlier try" not in told


def test_a_later_try_near_the_end_of_the_season_says_that_it_leaves_that_out(
    calm: Port, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(desk_module, "TOLD_FROM_DAYS", 366)
    told = text_of(calm.desk.write("eve", TODAY, 0, late=False, clock_suspect=False, alone=True))
    assert f"{LEFT_OUT} gear and season's end." in told


def test_a_later_try_of_an_eve_letter_tells_the_likely_call_alone(
    calm: Port, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[object] = []
    monkeypatch.setattr(GearDesk, "eve", lambda *_, **__: asked.append("gear"))
    monkeypatch.setattr(SeasonDesk, "between", lambda *_, **__: asked.append("season"))
    text = text_of(calm.desk.write("eve", TODAY, 0, late=False, clock_suspect=False, alone=True))
    assert asked == []
    assert "likely on Wednesday 9 December" in text
    assert f"{LEFT_OUT} gear." in text
    assert "could not be told" not in text


def test_a_changed_call_waits_for_no_plan(calm: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    """The wind rises after the letter."""
    port = replace(calm, terms=TERMS)
    calm.keep(port.morning())
    calm.hear(sea_of(wind_kt=25), NOW + timedelta(minutes=15))
    asked: list[object] = []
    monkeypatch.setattr(plan_desk.PlanDesk, "week", lambda *_, **__: asked.append("week"))
    changed = replace(port, now=NOW + timedelta(minutes=16)).desk.recheck(TODAY, 1, clock_suspect=False)
    assert changed is not None
    assert changed.call is not None
    assert changed.call.word == CallWord.WAIT
    assert asked == []
    told = text_of(changed)
    assert "A changed call is sent at once, without the week's plan. The next morning letter has it again." in told
    assert "could not be planned" not in told


def test_books_that_fail_cost_the_plan_and_not_the_call(calm: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = call_of(calm.morning())

    def fails(*_: object) -> None:
        raise RuntimeError("the catch can't be counted")

    monkeypatch.setattr(CatchBook, "take", fails)
    letter = calm.morning()
    assert call_of(letter) == whole
    assert "The week could not be planned: catch and bait:" in text_of(letter)


def test_by_a_suspect_clock_nothing_is_planned(calm: Port) -> None:
    letter = replace(calm, terms=TERMS).desk.write("morning", TODAY, 0, late=False, clock_suspect=True)
    assert TITLE not in text_of(letter)


def test_the_curve_is_learned_once_for_the_same_log(calm: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    learned = []
    whole = plan_desk.fit_curve

    def counted(*given: object) -> object:
        learned.append(given)
        return whole(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(plan_desk, "fit_curve", counted)
    desk = replace(calm, terms=TERMS).desk
    for _ in range(3):
        desk.week_now(TODAY, clock_suspect=False)
    assert len(learned) == 1


@pytest.mark.parametrize(("ahead_days", "seen"), [(28, True), (29, False)])
def test_the_end_of_the_season_is_in_sight_three_weeks_past_the_days_planned(
    calm: Port, ahead_days: int, seen: bool
) -> None:
    """R4: the last day for traps in the water is 6 May; 8 days are planned, today the first."""
    settings = calm.sea.settings
    desk = plan_desk.PlanDesk(settings, TERMS, OUTFIT, calm.store, LogKeeper(calm.store, settings.trap_strings))
    deadline = date(2027, 5, 6)
    end = desk._end(deadline - timedelta(days=ahead_days), 8)
    assert (end is not None) == seen
    assert end is None or (end.deadline, end.last_harvest) == (deadline, date(2027, 5, 1))


def test_claws_are_worth_what_the_log_landed_by_grade_or_the_least_price(calm: Port, folder: Path) -> None:
    """The prices of config/gear.toml: medium 14, large 21."""
    _, week, _ = replace(calm, terms=replace(TERMS, price_usd_lb=None)).desk.week_now(TODAY, clock_suspect=False)
    assert week is not None
    assert week.price_usd_lb == 14


def test_without_any_price_the_letter_says_what_to_write(calm: Port) -> None:
    unpriced = replace(TERMS, price_usd_lb=None)
    desk = Desk(calm.sea.settings, calm.store, SetClock(NOW), NobodyAnswers(), outfit=None, terms=unpriced)
    _, week, _ = desk.week_now(TODAY, clock_suspect=False)
    assert week is not None
    assert "price_usd_lb" in week.fault


@tries(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    wind_kt=st.integers(3, 18),
    soaked=st.lists(st.integers(0, 25), min_size=5, max_size=5),
    trip_cost_usd=st.sampled_from([0.0, 120.0, 4000.0]),
)
def test_whatever_the_morning_the_plan_follows_the_call(
    tmp_path_factory: pytest.TempPathFactory, wind_kt: int, soaked: list[int], trip_cost_usd: float
) -> None:
    sea = sea_of(dict(zip(SOAKED_DAYS, soaked, strict=True)), wind_kt=wind_kt)
    port = port_of(sea, tmp_path_factory.mktemp("port"))
    with_plan = replace(TERMS, trip_cost_usd=trip_cost_usd)
    call, week, _ = replace(port, terms=with_plan).desk.week_now(TODAY, clock_suspect=False)
    bare, none, _ = replace(port, terms=None).desk.week_now(TODAY, clock_suspect=False)
    assert none is None
    assert call == bare
    assert (week is None) == (call.word is CallWord.NO_CALL)
    if week is not None:
        assert not week.fault
        called = () if call.window is None else tuple(pull.string for pull in call.window.pulls)
        assert week.days[0].strings == called
    port.store.close()


# ---- the check


class Unplugged:
    def fetch(self, ask: Ask) -> RawReply:
        raise HostNotFound(f"{ask.url}: no such host", retry=False)


def checked(folder: Path, plan: str | None) -> list[tuple[str, bool]]:
    text = FIVE_TOML if plan is None else f'{FIVE_TOML}\n[plan]\nfile = "plan.toml"\n'
    (folder / "boat.toml").write_text(text, "utf-8")
    (folder / "fisheries").symlink_to(CONFIG / "fisheries")
    if plan:
        (folder / "plan.toml").write_text(plan, "utf-8")
    settings = load_settings(folder / "boat.toml", {"HOME": str(folder)}, with_secrets=False)
    told = check_all(settings, Unplugged())
    return [(finding.found, finding.well) for finding in told if finding.tried.endswith(("plan.toml", "the plan"))]


def test_the_check_tells_the_plan_file_in_short(folder: Path) -> None:
    assert checked(folder, (CONFIG / "plan.toml").read_text("utf-8")) == [("8 days, a trip for 120 dollars", True)]


def test_the_check_tells_each_fault_of_the_plan_file(folder: Path) -> None:
    found = checked(folder, "[plan]\nhorizon = 3\nseed = -1\n")
    assert len(found) == 2
    assert not any(well for _, well in found)
    assert any("horizon_days?" in told for told, _ in found)


def test_the_check_says_that_there_is_no_plan(folder: Path) -> None:
    assert checked(folder, None) == [("none: no letter tells a plan of the week", True)]
