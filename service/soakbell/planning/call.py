"""The call: a word, its reasons and the numbers behind it, as data. Words are made in ``letters``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum

import pandas as pd
from pydantic import ConfigDict

from soakbell.sea.sources import FaultCode, SourceKind
from soakbell.sea.warnings import OfficialWarning


class CallWord(StrEnum):
    PULL = "PULL"
    WAIT = "WAIT"
    NO_CALL = "NO CALL"


@dataclass(frozen=True)
class Reason:
    """Why. ``code`` is one of the stems that ``letters`` has words for; ``values`` fills them.

    Codes and their values:
        over_limit        quantity, value, limit, at, worst_at, place: ``at`` the first hour past the limit,
                          ``value`` the worst of the day, at ``worst_at``
        warning           event, starts_at, ends_at, zones
        headline          text, zone: a warning headline in the zone forecast
        grid_hazard       event, starts_at, ends_at, place: a hazard set in the grid forecast
        unclear           place, at, phrase: a source said something that wasn't understood
        source_fault      kind, key, code, detail
        contradicted      quantity, place, at, low, low_source, high, high_source, most
        not_known         quantity, place, at, source: ``source`` should have given it; "" for none in particular
        warnings_not_known  place: whether an official warning is in force there
        too_short         needed_min, longest_min
        stale_by_then     fresh_until, first_light: the data will be too old before the boat may leave
        left_for_later    strings: ripe strings that the window doesn't carry
        left_out_there    strings: those with traps to take up that the window doesn't carry
        deck_full         deck_traps, string, traps, of, strings: what one trip brings home, the string that it
                          takes ``traps`` of ``of`` from, "" for none, and those with traps to take up left whole
        hours_full        string, traps, of: the string that this trip brings only ``traps`` of ``of`` home from,
                          since its hours carry no more
        barred_by_skipper  strings: those that he barred for the day, () for the whole day
        take_up_barred    strings: those with traps to take up that he barred for the day
        pinned_by_skipper  strings: those that he pinned for the day and the trip takes in before others
        pin_not_met       strings: those that he pinned for the day and no trip takes in, () for any string
        later_not_fit     last_departure_at, margin_h, code, values: a trip that leaves later, or the margin after
                          it, meets the reason ``code`` with its ``values``
        later_too_old     last_departure_at, fresh_until, source: kind and key of what is too old by then, or ""
        later_not_legal   last_departure_at, haul_to: the end of the legal hours
        later_dark        last_departure_at, home_by: the end of the twilight
        out_of_season     rule, source
        ask_authority     authority: traps still in the water are past what the rules allow
        take_up_only      last_harvest, deadline, rule, source, deck_traps: traps may be hauled to bring them home,
                          and for nothing else; the last day on which all must be out, what bars the harvest, and
                          what one trip brings home, None where that isn't told
        nothing_ripe      oldest_string, oldest_soak_h, floor_h
        nothing_set
        no_sunrise        state: the sun doesn't both rise and set that day
        trip_no_longer_fits  leaves_at: the trip called earlier no longer fits; barred: strings of it that the
                          skipper barred since
        moved_out_of_area  string, area, away_nmi, most_nmi: the string lies too far from the point of its
                          forecast area
        clock             detail
        failed            detail: the service itself could not make a call
    """

    code: str
    values: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class Binding:
    """The limit that comes nearest within a window, or breaks it.

    ``value`` and ``limit`` are in the unit of ``quantity``; ``margin`` is what is left, negative past the limit,
    and ``headroom`` the same as a share of the limit.
    """

    quantity: str
    value: float
    limit: float
    margin: float
    headroom: float
    at: datetime
    place: str
    source: str


@dataclass(frozen=True)
class StringPull:
    """One string within a trip: when the boat is on it and the state of its soak.

    ``places`` are those of the traps to take up, rising; empty on a trip for the catch.
    """

    string: str
    arrives_at: datetime
    leaves_at: datetime
    traps: int
    soak_h: float | None
    oldest_soak_h: float | None
    places: tuple[int, ...] = ()


@dataclass(frozen=True)
class Window:
    """A trip that fits: leave the harbor, haul the strings in order, be back.

    Times of the trip count from ``leaves_at``, the best departure; ``binding`` from every departure up to
    ``last_departure_at``. ``lands_at`` is rounded up to the minute.
    """

    leaves_at: datetime
    lands_at: datetime
    last_departure_at: datetime
    """The latest quarter hour at which the same trip may still leave."""
    pulls: tuple[StringPull, ...]
    distance_nmi: float
    binding: Binding | None


class DayState(StrEnum):
    FIT = "fit"
    NOT_FIT = "not fit"
    NOT_KNOWN = "not known"


@dataclass(frozen=True)
class DayOutlook:
    """One local day. ``first_light_at`` to ``last_light_at`` are the legal working hours of that day."""

    day: date
    state: DayState
    window: Window | None
    binding: Binding | None
    reasons: tuple[Reason, ...]
    first_light_at: datetime | None
    last_light_at: datetime | None


@dataclass(frozen=True)
class SourceLine:
    """One source as the letter lists it.

    ``age_h`` is reckoned at the planned leaving, else now; that of observations always now.
    """

    kind: SourceKind
    key: str
    issued_at: datetime | None
    fetched_at: datetime | None
    age_h: float | None
    max_age_h: float
    fault: FaultCode | None
    detail: str


@dataclass(frozen=True)
class StringState:
    """Where one string stands this morning. Soaks are None while none of its traps is fishing."""

    string: str
    fishing: int
    oldest_soak_h: float | None
    median_soak_h: float | None
    ripe: bool
    past_ceiling: bool
    floor_h: float
    ceiling_h: float


@dataclass(frozen=True)
class Call:
    """The morning call of one boat for one local day.

    Attributes:
        window: the trip to make; only on PULL.
        reasons: what decides, most weighty first. On PULL: why this window and not more.
        warnings: official warnings that touch any place of the boat, in force from now to the end of the day.
        cautions_told: headlines and outlook sentences that do not bar by themselves.
        disagreements: reasons of code ``contradicted`` that were large enough to be named.
        outlook: the days ahead, today first.
        hours: hourly UTC table for the harbor-to-strings worst case today: QUANTITIES columns (worst of all
            places and sources), for the chart; NaN where not known.
        limits: what the hours were held against, column -> limit.
        tighter_limits: by string, the limits of its own that are tighter, column -> limit.
        valid_until: after this the call counts for nothing.
        notices: what the skipper is to be told beside the call, in our words.
        take_up: the call is of taking traps up, since no harvest is left before they must be out.
    """

    __pydantic_config__ = ConfigDict(arbitrary_types_allowed=True)  # for the table, when read back

    word: CallWord
    boat: str
    day: date
    made_at: datetime
    window: Window | None
    reasons: tuple[Reason, ...]
    strings: tuple[StringState, ...]
    warnings: tuple[OfficialWarning, ...]
    cautions_told: tuple[str, ...]
    disagreements: tuple[Reason, ...]
    outlook: tuple[DayOutlook, ...]
    sources: tuple[SourceLine, ...]
    hours: pd.DataFrame = field(repr=False, compare=False)
    limits: Mapping[str, float]
    valid_until: datetime
    tighter_limits: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    take_up: bool = False
    notices: tuple[str, ...] = ()
