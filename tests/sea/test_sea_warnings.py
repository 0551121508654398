"""Which official warnings are in force, for which zones, at which times."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from soakbell.errors import NotUnderstood
from soakbell.sea.vtec import parse_vtec
from soakbell.sea.warnings import (
    AlertsReply,
    HeldWarning,
    OfficialWarning,
    bars_a_pull,
    hazard_name,
    in_force,
    joined,
    remember,
)

BAY, OFFSHORE, SOUND = "GMZ730", "GMZ755", "GMZ752"
DAWN = datetime(2026, 12, 8, 10, tzinfo=UTC)
H = timedelta(hours=1)


def message(
    id_: str = "a",
    *,
    zones: tuple[str, ...] = (BAY,),
    type_: str = "Alert",
    sent: float = 0,
    onset: float | None = None,
    ends: float | None = 12,
    expires: float | None = 6,
    refs: tuple[str, ...] = (),
    vtec: tuple[str, ...] = (),
    event: str = "Small Craft Advisory",
    status: str = "Actual",
    not_understood: tuple[str, ...] = (),
) -> OfficialWarning:
    """Times in hours from DAWN."""

    def at(hours: float | None) -> datetime | None:
        return None if hours is None else DAWN + hours * H

    return OfficialWarning(
        id=id_,
        zones=zones,
        event=event,
        status=status,
        message_type=type_,
        severity="Minor",
        sender="NWS Tallahassee FL",
        sent_at=DAWN + sent * H,
        effective_at=DAWN + sent * H,
        onset_at=at(onset),
        expires_at=at(expires),
        ends_at=at(ends),
        references=refs,
        vtec=tuple(parse_vtec(text) for text in vtec),
        headline=event,
        text=event,
        not_understood=not_understood,
    )


def code(action: str, begins: float | None = 0, ends: float | None = 12, *, hazard: str = "SC.Y.0041") -> str:
    def told(hours: float | None) -> str:
        return "000000T0000Z" if hours is None else (DAWN + hours * H).strftime("%y%m%dT%H%MZ")

    return f"/O.{action}.KTAE.{hazard}.{told(begins)}-{told(ends)}/"


def spans(
    messages: list[OfficialWarning], zone: str = BAY, first: float = -48, last: float = 480
) -> list[tuple[str, float, float | None]]:
    """Message id, begin and end in hours from DAWN, of what is in force for a zone."""
    held = in_force(messages, {zone}, DAWN + first * H, DAWN + last * H)
    return [
        (h.message.id, (h.starts_at - DAWN) / H, None if h.ends_at is None else (h.ends_at - DAWN) / H)
        for h in held
    ]


# times


def test_the_published_example_of_vtec_times_is_held_for_its_sixteen_hours() -> None:
    """W10: NWS Miami, EXB 260223T0000Z-260223T1600Z, issued 12:44 EST 21 Feb 2026."""
    issued = datetime(2026, 2, 21, 17, 44, tzinfo=UTC)
    text = "/O.EXB.KMFL.SC.Y.0010.260223T0000Z-260223T1600Z/"
    advisory = replace(
        message(zones=("AMZ651",), vtec=(text,), ends=None, expires=None), sent_at=issued, effective_at=issued
    )
    (held,) = in_force([advisory], {"AMZ651"}, issued, issued + 72 * H)
    assert held.starts_at == datetime.fromisoformat("2026-02-22T19:00:00-05:00")
    assert held.ends_at == datetime.fromisoformat("2026-02-23T11:00:00-05:00")
    assert held.ends_at - held.starts_at == 16 * H


def test_an_event_is_in_force_to_its_end_and_not_to_the_end_of_its_message() -> None:
    """F8."""
    assert spans([message(onset=2, expires=3, ends=12)]) == [("a", 2, 12)]
    assert spans([message(onset=2, expires=3, ends=12)], first=11, last=11) == [("a", 2, 12)]


def test_where_no_end_is_told_the_end_of_the_message_is_taken() -> None:
    assert spans([message(ends=None, expires=6)]) == [("a", 0, 6)]


def test_without_any_end_it_holds_until_further_notice() -> None:
    assert spans([message(ends=None, expires=None)]) == [("a", 0, None)]


def test_a_message_that_runs_out_before_its_event_begins_leaves_the_end_open() -> None:
    """F8: seen in captured flood warnings."""
    assert spans([message(onset=20, ends=None, expires=6)]) == [("a", 20, None)]


def test_an_end_before_the_begin_is_no_end_and_the_event_holds_from_the_earliest_of_all_times() -> None:
    """Onset and end may have been swapped: then the event had begun by what is told as its end."""
    assert spans([message(onset=20, ends=12)]) == [("a", 0, None)]
    assert spans([message(sent=15, onset=20, ends=12)]) == [("a", 12, None)]
    assert spans([message(onset=12, ends=12)]) == [("a", 0, None)]
    swapped = message(sent=0, onset=8, ends=2, vtec=(code("NEW", 2, 8),))
    assert spans([swapped]) == [("a", 0, 8)]
    one_end_wrong = message(sent=0, onset=8, ends=2, vtec=(code("NEW", 8, 20),))
    assert spans([one_end_wrong]) == [("a", 0, 20)]
    assert spans([message(sent=0, onset=8, ends=2, vtec=(code("NEW", 8, None),))]) == [("a", 0, None)]


def test_a_vtec_end_of_noughts_is_until_further_notice() -> None:
    assert spans([message(vtec=(code("NEW", 0, None),), ends=None)]) == [("a", 0, None)]
    assert spans([message(vtec=(code("NEW", 0, None),), ends=5)]) == [("a", 0, None)]


def test_a_vtec_begin_of_noughts_means_already_begun() -> None:
    assert spans([message(sent=1, onset=4, vtec=(code("CON", None, 12),))]) == [("a", 1, 12)]


def test_of_two_told_times_the_earlier_begin_and_the_later_end_count() -> None:
    assert spans([message(onset=3, ends=9, vtec=(code("NEW", 2, 10),))]) == [("a", 2, 10)]
    assert spans([message(onset=2, ends=10, vtec=(code("NEW", 3, 9),))]) == [("a", 2, 10)]


def test_without_an_onset_it_holds_from_the_sending() -> None:
    assert spans([replace(message(sent=1), effective_at=None)]) == [("a", 1, 12)]
    assert spans([replace(message(sent=3), effective_at=DAWN + H)]) == [("a", 1, 12)]
    late = replace(message(sent=2), effective_at=DAWN + 5 * H)
    assert spans([late]) == [("a", 2, 12)]


def test_only_the_asked_time_counts_and_a_begin_at_its_very_end_counts() -> None:
    advisory = [message(onset=2, ends=12)]
    assert spans(advisory, first=12, last=20) == []
    assert spans(advisory, first=-5, last=1) == []
    assert spans(advisory, first=-5, last=2) == [("a", 2, 12)]
    assert spans(advisory, first=11.9, last=20) == [("a", 2, 12)]


# zones


def test_only_the_asked_zones_count() -> None:
    advisory = message(zones=(BAY, OFFSHORE))
    (held,) = in_force([advisory], {BAY, SOUND}, DAWN, DAWN + H)
    assert held.zones == (BAY,)
    assert in_force([advisory], {SOUND}, DAWN, DAWN + H) == ()


def test_zones_held_over_the_same_time_are_told_together() -> None:
    (held,) = in_force([message(zones=(OFFSHORE, BAY))], {BAY, OFFSHORE}, DAWN, DAWN + H)
    assert held.zones == (BAY, OFFSHORE)


def test_a_message_without_a_zone_holds_everywhere_and_so_does_one_for_all_zones() -> None:
    assert spans([message(zones=())]) == [("a", 0, 12)]
    assert spans([message(zones=("GMZ000",))]) == [("a", 0, 12)]
    assert spans([message(zones=("AMZ000",))]) == []


# cancels and updates


def test_a_cancel_by_reference_ends_the_event_at_its_sending() -> None:
    alert, cancel = message(), message("b", type_="Cancel", sent=2, refs=("a",))
    assert spans([alert, cancel]) == [("a", 0, 2)]
    assert spans([alert, cancel], first=2) == []


@pytest.mark.parametrize("type_", ["Cancel", "Update"])
def test_a_message_without_a_code_that_it_does_not_name_goes_on(type_: str) -> None:
    """CAP 1.2: an update or cancel acts on the messages in its references."""
    other = message("b", type_=type_, sent=2, refs=("another",))
    assert ("a", 0, 12) in spans([message(), other])


@pytest.mark.parametrize(
    ("type_", "vtec"), [("Alert", ()), ("Alert", ("CAN",)), ("Cancel", ("CON",)), ("Cancel", ("CAN", "EXT"))]
)
def test_a_message_without_a_code_goes_on_past_what_neither_cancels_nor_updates_it(
    type_: str, vtec: tuple[str, ...]
) -> None:
    """In doubt both are kept, even with a reference."""
    other = message("b", type_=type_, sent=2, refs=("a",), vtec=tuple(map(code, vtec)))
    assert ("a", 0, 12) in spans([message(), other])


def test_a_cancel_ends_only_its_own_zones() -> None:
    """F8, as in a captured message that cancels two zones and continues a third."""
    alert = message(zones=(BAY, OFFSHORE), vtec=(code("NEW"),))
    cancel = message("b", type_="Cancel", zones=(BAY,), sent=2, refs=("a",), vtec=(code("CAN"),))
    assert spans([alert, cancel], BAY, first=3) == []
    assert spans([alert, cancel], OFFSHORE, first=3) == [("a", 0, 12)]


def test_a_cancel_without_a_zone_ends_nothing() -> None:
    assert spans([message(), message("b", type_="Cancel", zones=(), sent=2, refs=("a",))]) == [("a", 0, 12)]


def test_a_cancel_by_vtec_alone_ends_the_event_whatever_its_type() -> None:
    for type_ in ("Cancel", "Alert", "Update"):
        alert, cancel = message(vtec=(code("NEW"),)), message("b", type_=type_, sent=2, vtec=(code("CAN"),))
        assert spans([alert, cancel], first=2) == []


@pytest.mark.parametrize(
    "vtec",
    [
        code("CAN", hazard="SC.Y.0042"),
        code("CAN", hazard="GL.W.0041"),
        code("CAN").replace("KTAE", "KMOB"),
        code("CAN").replace("/O.", "/T."),
        code("UPG"),
        code("CON"),
        code("NEW"),
        code("ROU"),
    ],
)
def test_a_cancel_of_something_else_ends_nothing(vtec: str) -> None:
    """F8: in doubt both are kept, even with a reference."""
    cancel = message("b", type_="Cancel", sent=2, refs=("a",), vtec=(vtec,))
    assert ("a", 0, 12) in spans([message(vtec=(code("NEW"),)), cancel])


def test_a_cancel_of_last_years_number_ends_nothing() -> None:
    cancel = message("b", type_="Cancel", sent=24 * 200, vtec=(code("CAN"),))
    assert spans([message(ends=24 * 300, vtec=(code("NEW", 0, 24 * 300),)), cancel], first=24 * 250) == [
        ("a", 0, 24 * 300)
    ]


def test_a_cancel_that_was_not_sent_later_ends_nothing() -> None:
    for sent in (0, -1):
        assert spans([message(), message("b", type_="Cancel", sent=sent, refs=("a",))]) == [("a", 0, 12)]


def test_a_cancel_with_a_part_that_was_not_understood_ends_nothing() -> None:
    cancel = message("b", type_="Cancel", sent=2, refs=("a",), not_understood=("/O.CAX...",))
    assert spans([message(), cancel]) == [("a", 0, 12)]


def test_a_cancel_in_a_test_string_takes_nothing_from_its_own_message() -> None:
    for product_class in "TEX":
        assert spans([message(vtec=(code("CAN").replace("/O.", f"/{product_class}."),))]) == [("a", 0, 12)]


def test_what_was_not_understood_holds_beside_an_event_that_its_own_message_cancels() -> None:
    half_read = message(vtec=(code("CAN"),), not_understood=("/O.NEW.KTAE...",))
    assert spans([half_read]) == [("a", 0, 12)]


def test_a_cancel_that_is_only_a_test_ends_nothing() -> None:
    for status in ("Test", "Exercise", "Draft", "System"):
        assert spans([message(), message("b", type_="Cancel", sent=2, refs=("a",), status=status)]) == [
            ("a", 0, 12)
        ]


def test_an_expiry_told_ahead_of_time_lets_the_event_run_to_its_end() -> None:
    alert = message(vtec=(code("NEW"),))
    assert spans([alert, message("b", type_="Cancel", sent=11, vtec=(code("EXP"),))]) == [("a", 0, 12)]


@pytest.mark.parametrize(("sent", "over"), [(4, 5), (7, 7)], ids=["before its end", "after it"])
def test_an_event_without_an_end_ends_where_its_expiry_says_or_was_sent(sent: float, over: float) -> None:
    endless = message("a", ends=None, vtec=(code("NEW", 0, None),))
    expired = message("b", type_="Cancel", sent=sent, ends=5, vtec=(code("EXP", 0, 5),))
    assert spans([endless, expired]) == [("a", 0, over)]


@pytest.mark.parametrize(("ends", "over"), [((5, 8), 8), ((8, 5), 8), ((None,), 4)])
def test_of_several_ends_an_expiry_keeps_the_latest_and_without_one_it_ends_at_its_sending(
    ends: tuple[float | None, ...], over: float
) -> None:
    endless = message("a", ends=None, vtec=(code("NEW", 0, None),))
    expired = message("b", type_="Cancel", sent=4, vtec=tuple(code("EXP", 0, end) for end in ends))
    assert spans([endless, expired]) == [("a", 0, over)]


@pytest.mark.parametrize(
    ("type_", "action"),
    [
        ("Alert", "EXP"),
        *(("Update", action) for action in ("NEW", "EXP", "UPG", "ROU")),
        *(("Cancel", action) for action in ("NEW", "CON", "EXT", "UPG", "ROU")),
    ],
)
def test_an_expiry_that_is_no_cancel_and_a_cancel_of_another_action_end_no_event(type_: str, action: str) -> None:
    endless = message("a", ends=None, vtec=(code("NEW", 0, None),))
    odd = message("b", type_=type_, sent=4, ends=5, refs=("a",), vtec=(code(action, 0, 5),))
    assert ("a", 0, None) in spans([endless, odd])


def test_an_expiry_told_after_the_end_holds_nothing_by_itself() -> None:
    assert spans([message("b", type_="Alert", sent=13, ends=12, vtec=(code("EXP", None, 12),))], first=13) == []


def test_an_update_takes_over_for_its_zones_and_leaves_the_others() -> None:
    alert = message(zones=(BAY, OFFSHORE), vtec=(code("NEW"),))
    update = message(
        "b", type_="Update", zones=(BAY,), sent=3, ends=20, refs=("a",), vtec=(code("EXT", None, 20),)
    )
    assert spans([alert, update], BAY) == [("a", 0, 3), ("b", 3, 20)]
    assert spans([alert, update], OFFSHORE) == [("a", 0, 12)]


def test_an_update_may_shorten_an_event() -> None:
    update = message("b", type_="Update", sent=3, ends=5, refs=("a",))
    assert spans([message(), update], first=6) == []


@pytest.mark.parametrize("event", ["Small Craft Advisory", "Rip Current Statement"])
def test_an_update_without_vtec_ends_no_event_that_has_one(event: str) -> None:
    """F8: in doubt both are kept."""
    update = message("b", type_="Update", sent=3, ends=4, refs=("a",), event=event)
    assert spans([message(vtec=(code("NEW"),)), update]) == [("a", 0, 12), ("b", 3, 4)]


def test_what_was_sent_later_than_now_ends_nothing() -> None:
    """A cancel or update dated hours ahead has a wrong date; the event it names is held to its own end."""
    asked = DAWN, DAWN + 48 * H
    for type_, action in (("Cancel", "CAN"), ("Update", "CON")):
        ahead = message("b", type_=type_, sent=3, onset=40, ends=45, refs=("a",), vtec=(code(action, 40, 45),))
        messages = [message(vtec=(code("NEW"),)), ahead]
        first = in_force(messages, {BAY}, *asked, sent_by=DAWN + H)[0]
        assert (first.message.id, first.ends_at) == ("a", DAWN + 12 * H)
        assert in_force(messages, {BAY}, *asked, sent_by=DAWN + 3 * H)[0].ends_at == DAWN + 3 * H


@pytest.mark.parametrize("action", ["CON", "EXT", "EXA", "EXB", "COR"])
def test_an_update_that_carries_an_event_on_opens_no_gap_in_it(action: str) -> None:
    """A later onset than the event's own is a wrong one: it runs on from its earlier begin."""
    update = message("b", type_="Update", sent=3, onset=33, ends=45, refs=("a",), vtec=(code(action, 33, 45),))
    running, ahead = message(vtec=(code("NEW"),)), message(onset=8, vtec=(code("NEW", 8),))
    assert spans([running, update]) == [("a", 0, 3), ("b", 3, 45)]
    assert spans([ahead, update]) == [("b", 8, 45)]
    again = message("c", type_="Update", sent=6, onset=40, ends=50, refs=("b",), vtec=(code(action, 40, 50),))
    assert spans([running, update, again]) == [("a", 0, 3), ("b", 3, 6), ("c", 6, 50)]


def test_what_an_update_carries_on_is_remembered_with_it() -> None:
    """Else the gap would open as soon as the first message had ended."""
    first = message(vtec=(code("NEW"),))
    update = message("b", type_="Update", sent=3, onset=33, ends=45, refs=("a",), vtec=(code("CON", 33, 45),))
    assert remember([first], reply(update), DAWN + 20 * H) == (first, update)
    assert spans(list(remember([first], reply(update), DAWN + 20 * H)), first=20, last=21) == [("b", 3, 45)]


def test_an_update_found_by_vtec_takes_over_without_a_reference() -> None:
    update = message("b", type_="Update", sent=3, ends=8, vtec=(code("EXT", None, 8),))
    assert spans([message(vtec=(code("NEW"),)), update], first=4) == [("b", 3, 8)]


def test_a_continuation_of_type_alert_holds_beside_the_first() -> None:
    """F8: in doubt both are kept. Captured lists have CON with type Alert."""
    again = message("b", type_="Alert", sent=3, ends=8, vtec=(code("CON", None, 8),))
    assert spans([message(vtec=(code("NEW"),)), again], first=4) == [("a", 0, 12), ("b", 3, 8)]


def test_an_upgrade_holds_both_until_the_lower_one_ends() -> None:
    """F8: the last message that holds an event is never removed, as the higher one may be missing."""
    advisory = message(vtec=(code("NEW"),))
    upgrade = message("b", type_="Cancel", sent=2, refs=("a",), vtec=(code("UPG"),))
    gale = message("c", sent=2, ends=9, event="Gale Warning", vtec=(code("NEW", 2, 9, hazard="GL.W.0007"),))
    assert spans([advisory, upgrade], first=3) == [("a", 0, 12)]
    assert spans([advisory, upgrade, gale], first=3) == [("a", 0, 12), ("c", 2, 9)]


def test_two_messages_that_name_each_other_do_not_wipe_each_other_out() -> None:
    """F8."""
    for sent in (2, 3):
        one = message("a", type_="Update", sent=2, refs=("b",))
        two = message("b", type_="Update", sent=sent, refs=("a",))
        assert spans([one, two], first=4, last=5) != []


def test_one_message_with_two_events_ends_one_and_keeps_the_other() -> None:
    """As in a captured segment that extends one advisory and cancels another."""
    both = message(vtec=(code("NEW"), code("NEW", 20, 40, hazard="SC.Y.0042")), ends=None)
    update = message("b", type_="Update", sent=2, ends=None, vtec=(code("CAN"),))
    assert spans([both, update]) == [("a", 0, 2), ("a", 20, 40)]


def test_an_event_never_comes_back_through_an_old_copy() -> None:
    """F8: updates don't always remove the earlier message from the list."""
    alert = message(vtec=(code("NEW"),))
    update = message("b", type_="Update", sent=3, refs=("a",), vtec=(code("CON", None, 12),))
    cancel = message("c", type_="Cancel", sent=5, refs=("b",), vtec=(code("CAN", None, 12),))
    assert spans([alert, alert, update, cancel], first=6) == []


# what counts


def test_severity_and_unknown_names_play_no_part() -> None:
    for severity, event in itertools.product(
        ("Minor", "Unknown", "Extreme"), ("Small Craft Advisory", "Kraken Warning")
    ):
        assert spans([replace(message(event=event), severity=severity)]) == [("a", 0, 12)]


def test_an_exercise_is_not_used() -> None:
    drill = message("t", status="Exercise")
    assert spans([drill, message()]) == [("a", 0, 12)]


NOT_A_BAR = ("Rip Current Statement", "Beach Hazards Statement", "Air Quality Alert")


def held(warning: OfficialWarning) -> HeldWarning:
    return HeldWarning((BAY,), warning.event, DAWN, None, warning)


@pytest.mark.parametrize(
    ("warning", "bars"),
    [
        (message(event="Small Craft Advisory"), True),
        (message(event="Gale Watch"), True),
        (message(event="Special Weather Statement"), True),
        (message(event="Kraken Warning"), True),
        (message(event="Air Quality Alert"), False),
        (message(event=" rip  current statement"), False),
        (message(event="Rip Current Statement", vtec=(code("NEW", hazard="RP.S.0001"),)), False),
        (message(event="Rip Current Statement", vtec=(code("NEW", hazard="GL.W.0001"),)), True),
        (message(event="Rip Current Statement", vtec=(code("NEW", hazard="QQ.W.0001"),)), True),
        (message(event="Rip Current Statement", not_understood=("/O.NEW",)), True),
    ],
)
def test_all_but_the_named_events_keep_the_boat_in(warning: OfficialWarning, bars: bool) -> None:
    assert bars_a_pull(held(warning), NOT_A_BAR) is bars
    assert bars_a_pull(held(warning), ())


def test_hazard_codes_have_their_names_and_unknown_ones_stay_hazards() -> None:
    """W8, W9."""
    assert hazard_name("SC", "Y") == "Small Craft Advisory"
    assert hazard_name("SR", "W") == "Storm Warning"
    assert hazard_name("HF", "A") == "Hurricane Force Wind Watch"
    assert hazard_name("MF", "Y") == "Dense Fog Advisory"
    assert hazard_name("QQ", "W") == "hazard QQ.W"


# pages and memory


def reply(*warnings: OfficialWarning, updated: float | None = 0, next_url: str | None = None) -> AlertsReply:
    at = None if updated is None else DAWN + updated * H
    return AlertsReply(updated_at=at, warnings=warnings, next_url=next_url, faults=())


def test_pages_join_to_one_list_as_old_as_the_oldest() -> None:
    """F7."""
    whole = joined([reply(message(), updated=3, next_url="u"), reply(message(), message("b"), updated=2)])
    assert [w.id for w in whole.warnings] == ["a", "b"]
    assert whole.updated_at == DAWN + 2 * H
    assert joined([reply(message(), updated=None)]).updated_at is None


def test_a_list_without_its_last_page_is_refused() -> None:
    """F7."""
    for pages in ([], [reply(message(), next_url="u")], [reply(), reply(message(), next_url="u")]):
        with pytest.raises(NotUnderstood):
            joined(pages)


def test_a_warning_that_vanished_is_held_to_its_end() -> None:
    """F8: without a cancel."""
    kept = remember([message()], reply(), DAWN + 3 * H, asked={BAY})
    assert spans(list(kept), first=3) == [("a", 0, 12)]
    assert remember([message()], reply(), DAWN + 7 * H, asked={BAY}) == (message(),), "its message has run out"
    assert remember([message()], reply(), DAWN + 12 * H, asked={BAY}) == ()


def test_a_message_of_two_events_is_remembered_to_the_end_of_the_later() -> None:
    both = message(ends=None, vtec=(code("NEW", 0, 2), code("NEW", 0, 12, hazard="GL.W.0007")))
    assert remember([both], reply(), DAWN + 5 * H, asked={BAY}) == (both,)
    assert remember([both], reply(), DAWN + 12 * H, asked={BAY}) == ()


def test_a_cancel_is_remembered_as_long_as_what_it_ends() -> None:
    alert, cancel = message(), message("b", type_="Cancel", sent=2, refs=("a",), ends=3, expires=3)
    kept = remember([alert, cancel], reply(), DAWN + 5 * H)
    assert set(kept) == {alert, cancel}
    again = remember(kept, reply(alert), DAWN + 6 * H)  # the old message shows up once more
    assert spans(list(again), first=6) == []


def test_a_cancel_that_comes_before_its_warning_is_remembered() -> None:
    cancel = message("b", type_="Cancel", sent=2, refs=("a",))
    kept = remember([], reply(cancel), DAWN + 2 * H)
    assert spans(list(remember(kept, reply(message()), DAWN + 3 * H)), first=3) == []


def test_a_warning_without_an_end_is_kept_until_a_whole_answer_no_longer_lists_it() -> None:
    endless = message(vtec=(code("NEW", 0, None),), ends=None, expires=6)
    later = DAWN + 30 * H
    assert remember([endless], reply(), later) == (endless,)
    assert remember([endless], reply(), later, asked={SOUND}) == (endless,)
    assert remember([endless], reply(next_url="u"), later, asked={BAY}) == (endless,)
    assert remember([endless], reply(), DAWN + 5 * H, asked={BAY}) == (endless,)
    assert remember([endless], reply(endless), later, asked={BAY}) == (endless,)
    assert remember([endless], reply(), later, asked={BAY}) == ()
    never_expires = replace(endless, expires_at=None)
    assert remember([never_expires], reply(), later, asked={BAY}) == (never_expires,)


# properties

ZONES = st.lists(st.sampled_from([BAY, OFFSHORE, SOUND]), max_size=3, unique=True).map(tuple)
HOURS = st.one_of(st.none(), st.integers(-6, 24))
VTECS = st.lists(
    st.builds(
        lambda action, begins, lasts, hazard: code(
            action, begins, None if lasts is None else (begins or 0) + lasts, hazard=hazard
        ),
        st.sampled_from(["NEW", "CON", "EXT", "EXB", "CAN", "EXP", "UPG", "COR", "ROU"]),
        st.one_of(st.none(), st.integers(-6, 12)),
        st.one_of(st.none(), st.integers(1, 24)),
        st.sampled_from(["SC.Y.0041", "GL.W.0007"]),
    ),
    max_size=2,
).map(tuple)
MESSAGES = st.builds(
    message,
    st.sampled_from("abcd"),
    zones=ZONES,
    type_=st.sampled_from(["Alert", "Update", "Cancel"]),
    sent=st.integers(-6, 6),
    onset=HOURS,
    ends=HOURS,
    expires=HOURS,
    refs=st.lists(st.sampled_from("abcd"), max_size=2, unique=True).map(tuple),
    vtec=VTECS,
    status=st.sampled_from(["Actual", "Actual", "Actual", "Test"]),
    not_understood=st.sampled_from([(), (), (), ("?",)]),
)
LISTS = st.lists(MESSAGES, max_size=5)


def barred_hours(messages: list[OfficialWarning], zone: str) -> set[int]:
    return {h for h in range(-6, 60) if in_force(messages, {zone}, DAWN + h * H, DAWN + h * H)}


def may_end_something(one: OfficialWarning) -> bool:
    return (one.message_type in ("Update", "Cancel") and bool(one.references or one.vtec)) or any(
        v.action == "CAN" for v in one.vtec
    )


@settings(max_examples=250, deadline=None)
@given(LISTS, MESSAGES, st.sampled_from([BAY, OFFSHORE]))
def test_one_more_message_shortens_nothing_unless_it_says_so(
    messages: list[OfficialWarning], one_more: OfficialWarning, zone: str
) -> None:
    """F8, A6."""
    lost = barred_hours(messages, zone) - barred_hours([*messages, one_more], zone)
    if lost:
        assert may_end_something(one_more)
        assert one_more.status == "Actual"
        assert zone in one_more.zones
        assert not one_more.not_understood
        assert min(lost) >= (one_more.sent_at - DAWN) / H


@settings(max_examples=200, deadline=None)
@given(LISTS, st.randoms(use_true_random=False), st.sampled_from([BAY, OFFSHORE]))
def test_order_and_copies_do_not_matter(messages: list[OfficialWarning], chance: object, zone: str) -> None:
    """F8."""
    shuffled = [*messages, *messages]
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    asked = DAWN - 48 * H, DAWN + 480 * H
    assert in_force(shuffled, {zone, SOUND}, *asked) == in_force(messages, {zone, SOUND}, *asked)


@settings(max_examples=200, deadline=None)
@given(LISTS, st.sampled_from([BAY, OFFSHORE]))
def test_an_event_that_nobody_cancelled_is_held_by_some_message(
    messages: list[OfficialWarning], zone: str
) -> None:
    """F8: no step may remove the last message that holds an event in force for a zone."""
    assume(not any(v.action in ("CAN", "EXP") for m in messages for v in m.vtec))
    holding = [
        m
        for m in messages
        if m.status == "Actual" and m.message_type != "Cancel" and (zone in m.zones or not m.zones)
    ]
    assume(holding and not any(m.message_type == "Cancel" for m in messages))
    newest = max(holding, key=lambda m: m.sent_at)
    times = spans([newest], zone)
    assert [s for s in spans(messages, zone) if s[0] == newest.id and s in times]


@settings(max_examples=200, deadline=None)
@given(LISTS, LISTS, st.integers(-6, 40), st.sampled_from([BAY, OFFSHORE]))
def test_memory_never_lets_go_of_what_is_ahead(
    earlier: list[OfficialWarning], later: list[OfficialWarning], hour: int, zone: str
) -> None:
    """F8: a vanished warning is held to its end; nothing of what is ahead changes by forgetting."""
    now = DAWN + hour * H
    kept = remember(earlier, reply(*later), now)
    ahead = now, now + 480 * H
    everything = [*earlier, *later]
    assert in_force(kept, {zone}, *ahead) == in_force(everything, {zone}, *ahead)
