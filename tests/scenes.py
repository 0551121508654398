"""A standing cast of invented mornings on Apalachee Bay, each with one role. All data here is invented.

pull_morning        a window before the wind comes up; five strings, four ripe, three of them in the window
wait_by_wind        wind over its limit from first light on
wait_by_warning     a Small Craft Advisory in force, told word for word
no_call_stale       the zone forecast is 19 hours old
changed_call        an advisory comes out after the letter said PULL
failed_service      the service itself could not make a call
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache

import pandas as pd

from soakbell.gear.fold import Whereabouts
from soakbell.gear.strings import Mark, TrapString
from soakbell.letters.facts import FisheryFacts, LetterFacts, Link
from soakbell.letters.letter import Letter, LetterKind, morning_letter
from soakbell.planning.ashore import (
    Ashore,
    BaitToLoad,
    BarredTraps,
    Bench,
    BenchJob,
    Load,
    MendAtPull,
    PartToBuy,
    PartToCarry,
    TrapsOf,
    UpkeepDue,
)
from soakbell.planning.call import (
    Binding,
    Call,
    CallWord,
    DayOutlook,
    DayState,
    Reason,
    SourceLine,
    StringPull,
    StringState,
    Window,
)
from soakbell.planning.upkeep_due import UpkeepState, UpkeepUnit
from soakbell.planning.week import Week
from soakbell.sea.sources import QUANTITIES, FaultCode, SourceKind
from soakbell.sea.warnings import OfficialWarning
from week_scenes import PULL_WEEK, WAIT_WEEK

ZONE = "America/New_York"
DAY = date(2026, 12, 8)
LIMITS = {"wind_kt": 15.0, "gust_kt": 20.0, "sea_m": 0.9144, "thunder_pct": 30.0}


def est(hour: int, minute: int = 0, *, day: int = 8) -> datetime:
    """A moment of December 2026 by the harbor's clock, EST."""
    return datetime(2026, 12, day, hour, minute, tzinfo=UTC) + timedelta(hours=5)


MADE_AT = est(4, 30)
FETCHED_AT = est(4, 21)

STRINGS = tuple(
    TrapString(name, Mark(lat, lon), Mark(lat + 0.006, lon + 0.012), traps, "GMZ730", depth, 96.0, 240.0)
    for name, lat, lon, traps, depth in (
        ("Nine Foot", 30.021, -84.171, 24, 2.7),
        ("Grassy Edge", 29.998, -84.155, 30, 3.4),
        ("Outer Bar", 29.962, -84.190, 36, 4.9),
        ("The Hump", 29.931, -84.142, 40, 6.1),
        ("Ledge", 29.905, -84.110, 32, 7.9),
    )
)

FACTS = LetterFacts(
    boat="Little Grebe",
    harbor="Notch Creek",
    harbor_mark=Mark(30.060, -84.165),
    zone_name=ZONE,
    strings=STRINGS,
    fishery=FisheryFacts(
        name="Florida stone crab, recreational",
        kept="claws",
        authority="Florida Fish and Wildlife Conservation Commission",
        url="https://myfwc.com/fishing/saltwater/",
        checked_on=date(2026, 11, 14),
        not_read=18,
        rules=25,
    ),
    links=(
        Link("Marine forecast for GMZ730", "https://www.weather.gov/tae/marine"),
        Link("Active warnings for GMZ730", "https://alerts.weather.gov/"),
    ),
    due_at=MADE_AT,
    no_letter_by=time(5, 0),
    next_letter_at=est(4, 30, day=9),
    watch_until=est(13, 10),
    invented=True,
)


LOAD = Load(
    bait=(
        BaitToLoad("mullet heads", 99, 2.75, 0.25, 2.5, 0.0, 4.0, 2.5, 0.0),
        BaitToLoad("cowhide", 35, 0.5, 0.0, 0.25, 0.0, 1.0, 0.25, 0.25),
    ),
    ready=(TrapsOf("Outer Bar", (12,)),),
    mends=(MendAtPull("Outer Bar", (5, 6), "funnel", 12.0, (("funnel", 2.0), ("hog ring", 8.0))),),
    parts=(PartToCarry("funnel", 2.0, 3.0), PartToCarry("hog ring", 8.0, 2.0)),
)

BARRED = (
    BarredTraps(
        "Ledge",
        (4,),
        "escape ring",
        "a trap needs an unobstructed escape ring",
        Whereabouts.FISHING,
        est(9, day=5),
    ),
    BarredTraps(
        "Nine Foot", (8, 9), "slat", "a trap needs a panel that degrades", Whereabouts.BENCH, est(9, day=5)
    ),
)


def due(
    task: str,
    state: UpkeepState,
    due_on: date | None = None,
    *,
    safety: bool = False,
    expires: bool = False,
    left: float | None = None,
    unit: UpkeepUnit = "",
) -> UpkeepDue:
    """A task of upkeep as it stands."""
    return UpkeepDue(task, state, safety, expires, True, due_on, left, unit, None, None, "an invented manual")


UPKEEP = (
    due("flares", "overdue", date(2026, 11, 30), safety=True, expires=True),
    due("bilge pump test", "due soon", date(2026, 12, 12)),
)

PULL_DAY = Ashore(load=LOAD, barred=BARRED, upkeep=UPKEEP)

BENCH = Bench(
    has_min=90.0,
    takes_min=74.0,
    jobs=(
        BenchJob("Nine Foot", (8, 9), ("slat",), 30.0, (("slat", 2.0),), True),
        BenchJob("Ledge", (7,), ("buoy", "line"), 24.0, (("buoy", 1.0), ("line", 1.0)), True),
        BenchJob("The Hump", (2,), ("fouling",), 20.0, (), False),
    ),
    short=(BenchJob("Grassy Edge", (3,), ("latch",), 12.0, (("latch", 1.0),), True, (("latch", 1.0),)),),
    left=(BenchJob("The Hump", (20, 21, 22), ("fouling",), 60.0, (), False),),
    back=(TrapsOf("Nine Foot", (8, 9)), TrapsOf("Ledge", (7,))),
)

BENCH_DAY = Ashore(
    bench=BENCH,
    barred=BARRED,
    upkeep=(*UPKEEP, due("engine oil", "overdue", left=-3.5, unit="engine h")),
    parts_to_buy=(PartToBuy("latch", True, 0.0, 0.5, 4.0, 1.0, 10.0, None, est(9, day=5)),),
)


@dataclass(frozen=True)
class Scene:
    """What one letter is made from."""

    call: Call
    facts: LetterFacts
    kind: LetterKind = "morning"
    previous: Call | None = None
    ashore: Ashore | None = None
    week: Week | None = None

    def letter(self) -> Letter:
        return morning_letter(
            self.call, self.facts, kind=self.kind, previous=self.previous, ashore=self.ashore, week=self.week
        )


def hours(wind: list[float], gust: list[float], sea_m: list[float], *, begin: datetime) -> pd.DataFrame:
    """An hourly table from ``begin`` on; every other quantity is left unknown."""
    index = pd.date_range(begin, periods=len(wind), freq="h", tz="UTC")
    frame = pd.DataFrame(float("nan"), index=index, columns=list(QUANTITIES), dtype=float)
    frame["wind_kt"], frame["gust_kt"], frame["sea_m"] = wind, gust, sea_m
    return frame


def _morning_calm() -> pd.DataFrame:
    """Light till noon, then a southwest breeze; the last four hours of the day aren't known."""
    hole = float("nan")
    wind = [9, 9, 8, 8, 7, 7, 8, 10, 12, 12, 13, 16, 18, 19, 18, 16]
    gust = [13, 13, 12, 11, 11, 11, 12, 15, 19, 19, 19, 22, 25, 26, 25, 22]
    sea = [0.6, 0.6, 0.6, 0.6, 0.6, 0.6, 0.6, 0.6, 0.7, 0.7, 0.8, 0.9, 1.1, 1.2, 1.2, 1.1]
    return hours([*wind, *[hole] * 4], [*gust, *[hole] * 4], [*sea, *[hole] * 4], begin=est(4))


def _blowing() -> pd.DataFrame:
    wind = [14, 15, 16, 18, 20, 21, 22, 22, 22, 21, 21, 20, 20, 19, 19, 18, 18, 17, 17, 16]
    return hours(
        [float(v) for v in wind], [v * 1.3 for v in wind], [0.9 + 0.02 * (v - 14) for v in wind], begin=est(4)
    )


def _strings() -> tuple[StringState, ...]:
    return (
        StringState("Nine Foot", 24, 171.0, 171.0, True, False, 96.0, 240.0),
        StringState("Grassy Edge", 30, 51.5, 51.5, False, False, 96.0, 240.0),
        StringState("Outer Bar", 35, 243.0, 171.0, True, True, 96.0, 240.0),
        StringState("The Hump", 40, 123.0, 123.0, True, False, 96.0, 240.0),
        StringState("Ledge", 32, 99.0, 99.0, True, False, 96.0, 240.0),
    )


def _sources(
    used_at: datetime, fetched_at: datetime = FETCHED_AT, made_at: datetime = MADE_AT
) -> tuple[SourceLine, ...]:
    def line(kind: SourceKind, key: str, issued: datetime, most_h: float) -> SourceLine:
        age_h = ((made_at if kind is SourceKind.OBSERVATIONS else used_at) - issued) / timedelta(hours=1)
        return SourceLine(kind, key, issued, fetched_at, age_h, most_h, None, "")

    return (
        line(SourceKind.ZONE_TEXT, "GMZ730", est(3, 41), 13.0),
        line(SourceKind.GRID, "TAE/58,65", est(2, 55), 12.0),
        line(SourceKind.WARNINGS, "GMZ730", fetched_at, 4.0),
        line(SourceKind.OBSERVATIONS, "42036", fetched_at - timedelta(minutes=31), 4.0),
    )


def _day(
    day: int, state: DayState, window: Window | None, binding: Binding | None, *reasons: Reason
) -> DayOutlook:
    return DayOutlook(
        date(2026, 12, day), state, window, binding, tuple(reasons), est(6, 47, day=day), est(18, 4, day=day)
    )


def _binding(quantity: str, value: float, at: datetime, place: str = "Outer Bar") -> Binding:
    limit = LIMITS[quantity]
    return Binding(quantity, value, limit, limit - value, (limit - value) / limit, at, place, "zone text")


def _later_window(day: int, first: int, last: int) -> Window:
    leaves = est(first, 0, day=day)
    return Window(leaves, est(last, 15, day=day), leaves, (), 21.4, None)


def _days_ahead() -> tuple[DayOutlook, ...]:
    """Wednesday to Monday, the same in every scene."""
    unknown = Reason("not_known", {"quantity": "sea_m", "place": "Outer Bar", "at": est(7, day=13), "source": ""})
    return (
        _day(9, DayState.NOT_FIT, None, _binding("wind_kt", 21.0, est(9, day=9))),
        _day(10, DayState.FIT, _later_window(10, 7, 12), _binding("gust_kt", 17.0, est(11, day=10))),
        _day(11, DayState.FIT, _later_window(11, 8, 13), _binding("sea_m", 0.8, est(12, day=11))),
        _day(12, DayState.NOT_FIT, None, _binding("sea_m", 1.5, est(8, day=12), "Ledge")),
        _day(13, DayState.NOT_KNOWN, None, None, unknown),
        _day(14, DayState.NOT_KNOWN, None, None, unknown),
    )


def _window() -> Window:
    pulls = (
        StringPull("Nine Foot", est(7, 25), est(8, 13), 24, 171.0, 171.0),
        StringPull("Outer Bar", est(8, 40), est(9, 50), 35, 173.0, 245.0),
        StringPull("The Hump", est(10, 5), est(11, 25), 40, 127.0, 127.0),
    )
    return Window(
        est(7, 10), est(12, 10), est(7, 40), pulls, 21.4, _binding("gust_kt", 19.0, est(12, 0), "The Hump")
    )


def _gusts_after_noon() -> Reason:
    gusts = {
        "quantity": "gust_kt",
        "value": 22.0,
        "limit": LIMITS["gust_kt"],
        "at": est(15),
        "worst_at": est(15),
        "place": "Outer Bay",
    }
    told = {"last_departure_at": est(7, 40), "margin_h": 2.25, "code": "over_limit", "values": gusts}
    return Reason("later_not_fit", told)


def pull_morning() -> Scene:
    window = _window()
    call = Call(
        word=CallWord.PULL,
        boat="little-grebe",
        day=DAY,
        made_at=MADE_AT,
        window=window,
        reasons=(Reason("left_for_later", {"strings": ("Ledge",)}), _gusts_after_noon()),
        strings=_strings(),
        warnings=(),
        cautions_told=("SMALL CRAFT SHOULD EXERCISE CAUTION THIS AFTERNOON",),
        disagreements=(
            Reason(
                "contradicted",
                {
                    "quantity": "wind_kt",
                    "place": "Ledge",
                    "at": est(16),
                    "low": 12.0,
                    "low_source": "grid",
                    "high": 18.0,
                    "high_source": "zone text",
                    "most": 5.0,
                },
            ),
        ),
        outlook=(_day(8, DayState.FIT, window, window.binding), *_days_ahead()),
        sources=_sources(window.leaves_at),
        hours=_morning_calm(),
        limits=LIMITS,
        valid_until=est(12, 40),
        tighter_limits={"The Hump": {"wind_kt": 13.0}},
    )
    return Scene(call, FACTS, ashore=PULL_DAY, week=PULL_WEEK)


def wait_by_wind() -> Scene:
    calm = pull_morning().call
    over = Reason(
        "over_limit",
        {
            "quantity": "wind_kt",
            "value": 22.0,
            "limit": 15.0,
            "at": est(6),
            "worst_at": est(10),
            "place": "Outer Bar",
        },
    )
    nearer = replace(over, values={**over.values, "value": 20.0, "place": "Nine Foot"})
    call = replace(
        calm,
        word=CallWord.WAIT,
        window=None,
        reasons=(over, nearer, Reason("too_short", {"needed_min": 300.0, "longest_min": 45.0})),
        cautions_told=(),
        disagreements=(),
        outlook=(_day(8, DayState.NOT_FIT, None, _binding("wind_kt", 22.0, est(10)), over), *_days_ahead()),
        sources=_sources(MADE_AT),
        hours=_blowing(),
        valid_until=est(18, 4),
    )
    return Scene(call, replace(FACTS, watch_until=est(18, 4)), ashore=BENCH_DAY, week=WAIT_WEEK)


ADVISORY_TEXT = """\
Small Craft Advisory issued December 8 at {issued}AM EST until December 8 at 7:00PM EST by NWS Tallahassee FL

* WHAT...Southwest winds 20 to 25 kt with gusts up to 30 kt and seas
  3 to 5 ft expected.

* WHERE...Apalachee Bay or Coastal Waters From Keaton Beach to
  Ochlockonee River Fl out to 20 Nm.

* WHEN...Until 7 PM EST this evening.

* IMPACTS...Conditions will be hazardous to small craft.

Inexperienced mariners, especially those operating smaller
vessels, should avoid navigating in hazardous conditions.
"""


def advisory(sent_at: datetime, onset_at: datetime | None = None) -> OfficialWarning:
    """A Small Craft Advisory in the public form, invented."""
    return OfficialWarning(
        id=f"urn:oid:2.49.0.1.840.0.invented.{sent_at:%H%M}",
        zones=("GMZ730",),
        event="Small Craft Advisory",
        status="Actual",
        message_type="Alert",
        severity="Minor",
        sender="NWS Tallahassee FL",
        sent_at=sent_at,
        effective_at=sent_at,
        onset_at=onset_at or sent_at,
        expires_at=est(12),
        ends_at=est(19),
        references=(),
        vtec=(),
        headline="SMALL CRAFT ADVISORY IN EFFECT UNTIL 7 PM EST THIS EVENING",
        text=ADVISORY_TEXT.format(issued=f"{sent_at - timedelta(hours=5):%H:%M}".lstrip("0")),
        url="https://api.weather.gov/alerts/urn:oid:2.49.0.1.840.0.invented",
    )


def wait_by_warning() -> Scene:
    scene = wait_by_wind()
    warning = advisory(est(3, 12))
    reason = Reason(
        "warning",
        {
            "event": warning.event,
            "starts_at": warning.onset_at,
            "ends_at": warning.ends_at,
            "zones": warning.zones,
        },
    )
    call = replace(
        scene.call,
        warnings=(warning,),
        reasons=(reason, *scene.call.reasons),
        outlook=(_day(8, DayState.NOT_FIT, None, None, reason), *_days_ahead()),
    )
    return Scene(call, scene.facts, ashore=scene.ashore)


def no_call_stale() -> Scene:
    calm = pull_morning().call
    lacking = tuple(
        Reason("not_known", {"quantity": quantity, "place": place, "at": est(7), "source": "zone text"})
        for place in ("Nine Foot", "Outer Bar", "The Hump")
        for quantity in ("wind_kt", "sea_m")
    )
    sources = _sources(MADE_AT)
    stale = replace(
        sources[0],
        issued_at=est(9, 26, day=7),
        age_h=19.07,
        fault=FaultCode.STALE,
        detail="nothing newer was sent",
    )
    call = replace(
        calm,
        word=CallWord.NO_CALL,
        window=None,
        reasons=lacking,
        cautions_told=(),
        disagreements=(),
        outlook=(
            _day(8, DayState.NOT_KNOWN, None, None, lacking[0]),
            *(
                replace(d, state=DayState.NOT_KNOWN, window=None, binding=None, reasons=lacking[:1])
                for d in _days_ahead()
            ),
        ),
        sources=(stale, *sources[1:]),
        valid_until=est(18, 4),
    )
    facts = replace(FACTS, watch_until=est(18, 4), refused=("mate@example.com",))
    return Scene(call, facts, ashore=replace(BENCH_DAY, fault="bait: the gear file names no bait"))


def changed_call() -> Scene:
    before = pull_morning().call
    waiting = wait_by_warning().call
    warning = advisory(est(8, 47), est(9, 0))
    reason = Reason(
        "warning",
        {
            "event": warning.event,
            "starts_at": warning.onset_at,
            "ends_at": warning.ends_at,
            "zones": warning.zones,
        },
    )
    call = replace(
        waiting,
        made_at=est(8, 52),
        warnings=(warning,),
        reasons=(reason,),
        outlook=(_day(8, DayState.NOT_FIT, None, None, reason), *_days_ahead()),
        sources=_sources(est(8, 52), est(8, 50), est(8, 52)),
        hours=_morning_calm(),
    )
    facts = replace(FACTS, turn=1, due_at=est(8, 52))
    return Scene(call, facts, kind="changed", previous=before, ashore=BENCH_DAY)


def failed_service() -> Scene:
    """Nothing is known but the gear: no source was read, and the letter comes late."""
    calm = pull_morning().call
    call = replace(
        calm,
        word=CallWord.NO_CALL,
        made_at=est(6, 5),
        window=None,
        reasons=(Reason("failed", {"detail": "the database could not be read"}),),
        strings=(),
        cautions_told=(),
        disagreements=(),
        outlook=(),
        sources=(),
        hours=calm.hours.iloc[0:0],
        limits={},
        valid_until=est(18, 4),
    )
    return Scene(call, replace(FACTS, late=True, watch_until=None, expired=(est(4, 30, day=7),)))


@cache
def letter_of(scene: Callable[[], Scene]) -> Letter:
    """The scene's letter, drawn and written once for all tests."""
    return scene().letter()


SCENES = {
    "pull-morning": pull_morning,
    "wait-by-wind": wait_by_wind,
    "wait-by-warning": wait_by_warning,
    "no-call-stale": no_call_stale,
    "changed-call": changed_call,
    "failed-service": failed_service,
}
