"""Warnings as text products. The texts are invented, in the public form."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from soakbell.errors import NotUnderstood
from soakbell.feeds.warning_text import SegmentState, WarningSegment, parse_warning_text

TEXT = """071
WHUS72 KTAE 080930
MWWTAE

URGENT - MARINE WEATHER MESSAGE
National Weather Service Tallahassee FL
430 AM EST Tue Dec 8 2026

GMZ730-081745-
/O.UPG.KTAE.SC.Y.0009.261208T1700Z-261209T0000Z/
/O.NEW.KTAE.GL.W.0002.261208T1700Z-261209T0000Z/
Apalachee Bay-
430 AM EST Tue Dec 8 2026

...GALE WARNING IN EFFECT FROM NOON TODAY TO 7 PM EST THIS
EVENING...

* WHAT...South winds 25 to 35 kt.

&&

$$

GMZ750>752-081045-
/O.CAN.KTAE.SC.Y.0009.261208T1700Z-261209T0000Z/
Waters elsewhere-
430 AM EST Tue Dec 8 2026

...SMALL CRAFT ADVISORY IS CANCELLED...

$$

GMZ765-081745-
/O.EXP.KTAE.SC.Y.0008.000000T0000Z-261208T1100Z/
Waters further off-
430 AM EST Tue Dec 8 2026

...SMALL CRAFT ADVISORY WILL EXPIRE AT 6 AM EST THIS MORNING...

$$

GMZ775-081745-
Waters of a statement-
430 AM EST Tue Dec 8 2026

...FOG OVER THE WATERS THIS MORNING...

Fog will lift by noon.

$$

ABC
"""

SPECIAL = """465
WHUS52 KTAE 082137
SMWTAE
GMZ730-082215-
/O.NEW.KTAE.MA.W.0059.261208T2137Z-261208T2215Z/

BULLETIN - IMMEDIATE BROADCAST REQUESTED
SPECIAL MARINE WARNING
NATIONAL WEATHER SERVICE TALLAHASSEE FL
437 PM EST TUE DEC 8 2026

* UNTIL 515 PM EST

$$

ABC
"""


def segment(text: str, zone: str) -> WarningSegment:
    (found,) = parse_warning_text(text).for_zone(zone)
    return found


def test_each_segment_acts_for_its_own_zones_only() -> None:
    """One message may cancel an event for some zones and go on with it for others."""
    states = {zone: found.state for found in parse_warning_text(TEXT).segments for zone in found.zones}
    assert states == {
        "GMZ730": SegmentState.IN_FORCE,
        "GMZ750": SegmentState.ENDED,
        "GMZ751": SegmentState.ENDED,
        "GMZ752": SegmentState.ENDED,
        "GMZ765": SegmentState.IN_FORCE,
        "GMZ775": SegmentState.STATEMENT,
    }


def test_an_upgrade_ends_the_old_event_and_leaves_the_new_one_standing() -> None:
    gale = segment(TEXT, "GMZ730")
    assert [vtec.phenomenon for vtec in gale.standing] == ["GL"]
    assert [vtec.phenomenon for vtec in gale.ended] == ["SC"]
    assert gale.standing[0].begins_at == datetime(2026, 12, 8, 17, tzinfo=UTC)
    assert gale.expires_at == datetime(2026, 12, 8, 17, 45, tzinfo=UTC)
    assert gale.headlines[0].text == "...GALE WARNING IN EFFECT FROM NOON TODAY TO 7 PM EST THIS EVENING..."
    assert gale.names == ("Apalachee Bay",)


def test_an_expiring_event_stands_to_its_end() -> None:
    """Such a message comes before the end: MWW of 11:37 for an end at 12:00, for one."""
    expiring = segment(TEXT, "GMZ765")
    assert expiring.standing[0].ends_at == datetime(2026, 12, 8, 11, tzinfo=UTC)
    assert expiring.standing[0].begins_at is None


def test_the_text_of_a_segment_is_kept_verbatim() -> None:
    gale = segment(TEXT, "GMZ730")
    assert gale.text == TEXT[TEXT.index("GMZ730") : TEXT.index("\n\n$$")]


def test_a_special_marine_warning_has_its_zones_before_its_heading() -> None:
    special = segment(SPECIAL, "GMZ730")
    assert special.state is SegmentState.IN_FORCE
    assert special.issued_at == datetime(2026, 12, 8, 21, 37, tzinfo=UTC)


def test_a_broken_vtec_string_leaves_its_segment_not_understood() -> None:
    broken = segment(TEXT.replace("/O.CAN.KTAE.SC.Y.0009", "/O.CAN.KTAE.SC.Y.009"), "GMZ751")
    assert broken.state is SegmentState.NOT_UNDERSTOOD
    assert any("0009" not in said and "VTEC" in said for said in broken.not_understood)


def test_a_test_message_is_not_operational() -> None:
    assert segment(SPECIAL.replace("/O.NEW", "/T.NEW"), "GMZ730").state is SegmentState.NOT_OPERATIONAL


def test_a_cut_warning_is_not_understood_rather_than_ended() -> None:
    cut = segment(TEXT[: TEXT.index("IS CANCELLED")], "GMZ750")
    assert cut.state is SegmentState.NOT_UNDERSTOOD


@pytest.mark.parametrize("damage", ["GMX730-", "gmz730-", "730-", "GMZ7E0-"])
def test_a_warning_whose_zones_are_damaged_is_never_lost(damage: str) -> None:
    """It may concern any zone: the bulletin is refused, or the segment speaks for all."""
    for text in (TEXT.replace("GMZ730-", damage), TEXT.replace("GMZ765-", damage.replace("730", "765"))):
        try:
            bulletin = parse_warning_text(text)
        except NotUnderstood:
            continue
        assert any(found.state is SegmentState.NOT_UNDERSTOOD for found in bulletin.for_zone("GMZ730"))


def test_a_lost_end_mark_keeps_the_next_warning() -> None:
    text = TEXT.replace("&&\n\n$$", "&&\n\n$")
    assert segment(text, "GMZ730").state is SegmentState.NOT_UNDERSTOOD
    assert segment(text, "GMZ750").state is SegmentState.ENDED


@pytest.mark.parametrize("text", [TEXT.replace("MWWTAE", "CWFTAE"), TEXT.replace("GMZ775", "FLZ127"), "", "{}"])
def test_other_products_and_land_are_refused(text: str) -> None:
    with pytest.raises(NotUnderstood):
        parse_warning_text(text)


def test_a_zone_name_is_read_over_its_line_break() -> None:
    text = TEXT.replace("Apalachee Bay-", "Waters from here to there out\n25 NM-\nApalachee Bay-")
    assert segment(text, "GMZ730").names == ("Waters from here to there out 25 NM", "Apalachee Bay")


def test_the_title_of_a_special_warning_is_no_zone_name() -> None:
    assert segment(SPECIAL, "GMZ730").names == ()


@pytest.mark.shared
def test_all_captured_warnings_are_read(shared: Path) -> None:
    found = {
        path.name: parse_warning_text(path.read_bytes())
        for path in sorted((shared / "data" / "weather" / "warnings_text").iterdir())
    }
    assert all(segment.not_understood == () for bulletin in found.values() for segment in bulletin.segments)
    key_west = found["MWSKEY.txt"]
    assert [segment.state for segment in key_west.segments] == [SegmentState.ENDED, SegmentState.IN_FORCE]
    assert key_west.segments[1].standing[0].begins_at is None
    assert len(found["MWWAJK.txt"].segments) == 14
    assert found["MWWCAR_22.txt"].segments[0].names[1].endswith("STONINGTON, ME OUT 25 NM")
    assert found["MWWLWX_05.txt"].segments[0].names[-1].endswith("SURROUNDING BLOODSWORTH ISLAND")
