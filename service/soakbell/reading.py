"""What the house understood of any one payload, for people and for programs.

Everything here is reckoned at the payload's own times; the clock plays no part. Nothing raises: what can't be
read as its kind is ``refused``, with the reason.
"""

from __future__ import annotations

import json
import textwrap
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import PurePath
from typing import Any

from soakbell import units
from soakbell.errors import NotUnderstood
from soakbell.feeds.alerts import parse_alerts
from soakbell.feeds.bulletin import MARINE_PREFIXES
from soakbell.feeds.buoys import parse_latest, parse_realtime
from soakbell.feeds.detect import PayloadKind, kind_of
from soakbell.feeds.grid import parse_grid
from soakbell.feeds.points import parse_point, parse_zone
from soakbell.feeds.strict_json import (
    list_at,
    moment,
    moment_or_none_at,
    object_at,
    read_object,
    text_at,
    text_or_none_at,
    whole_number_at,
)
from soakbell.feeds.warning_text import SegmentState, WarningSegment, parse_warning_text
from soakbell.feeds.zone_text import parse_zone_text
from soakbell.sea.grid_forecast import GridHazard
from soakbell.sea.grid_hours import hours_of_grid
from soakbell.sea.sources import QUANTITIES, SourceHours
from soakbell.sea.vtec import ENDING_ACTIONS
from soakbell.sea.warnings import HeldWarning, OfficialWarning, Vtec, hazard_name, in_force
from soakbell.sea.zone_forecast import AreaState, ForecastPeriod, Headline, HeadlineMeaning, Range, ZoneForecast

WIDTH = 100
"""Columns of the plain text."""

READER_FAILED = "the reader itself failed"
"""Begins the reason of a refusal that is a fault of the house, not of the payload."""

NOT_USED = frozenset(
    {
        PayloadKind.POINT_FORECAST,
        PayloadKind.TIDE_PREDICTIONS,
        PayloadKind.WATER_LEVELS,
        PayloadKind.STATION_METADATA,
        PayloadKind.SECOND_OPINION,
        PayloadKind.NDBC_OCEAN,
        PayloadKind.OTHER_TEXT,
    }
)
"""Kinds that are known, but on which no call rests."""

_FOREVER = datetime.max.replace(tzinfo=UTC)
_ANY_ZONE = ""
"""Asked for beside the named zones: a message that names none holds for it, and only such a message."""

_ACTIONS: Mapping[str, str] = {
    "NEW": "new",
    "CON": "continues",
    "EXA": "extended in area",
    "EXT": "extended in time",
    "EXB": "extended in area and time",
    "UPG": "replaced by a higher one",
    "CAN": "cancelled",
    "EXP": "runs out",
    "COR": "corrected",
    "ROU": "routine",
}
_STATES = ("in force", "to come", "not known", "replaced", "cancelled", "over", "not used")
"""Of a warning, in the order in which they are told."""

_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")

Facts = dict[str, Any]


@dataclass(frozen=True)
class Understood:
    """One payload as understood.

    Attributes:
        name: what the caller calls it, a file's name for one.
        facts: what it says, in values that JSON has; times are UTC in ISO 8601, names of numbers end in the
            unit, null is a hole. Empty where refused.
        not_understood: phrases and parts that were left over, each with the place it stands in.
        refused: why it can't be read as its kind; None where it can.
    """

    name: str
    kind: PayloadKind
    facts: Facts = field(repr=False)
    not_understood: tuple[str, ...]
    refused: str | None

    @property
    def used(self) -> bool:
        """Whether a call may rest on this payload."""
        return self.refused is None and self.kind not in NOT_USED


def understand(body: bytes, name: str = "") -> Understood:
    """Tell what a payload says. Never raises.

    Args:
        name: of the file; for observations the part before the dot is taken as the station's id.
    """
    kind = kind_of(body)
    left_over: list[str] = []
    try:
        facts = _READERS[kind](body, name, left_over)
    except NotUnderstood as fault:
        return Understood(name, kind, {}, (), str(fault))
    except Exception as fault:  # of one strange file among many the others are still told
        return Understood(name, kind, {}, (), f"{READER_FAILED}: {type(fault).__name__}: {fault}")
    return Understood(name, kind, facts, tuple(left_over), None)


def as_json(understood: Understood) -> str:
    """The same as JSON in plain ASCII: fixed order of keys, holes and numbers that are none as null."""
    told = {
        "name": understood.name,
        "kind": understood.kind.name.lower(),
        "kind_told": understood.kind.value,
        "used": understood.used,
        "refused": understood.refused,
        "not_understood": list(understood.not_understood),
        "facts": understood.facts,
    }
    return json.dumps(told, indent=2, allow_nan=False)


def as_text(understood: Understood) -> str:
    """The same for a terminal: at most WIDTH columns, no control characters, a line break at the end."""
    title = f"{understood.name}: {understood.kind.value}" if understood.name else understood.kind.value
    lines = _wrapped(title)
    if understood.refused is not None:
        lines += _wrapped(f"REFUSED: {understood.refused}", "  ")
    else:
        if not understood.used:
            lines.append("  Not used: no call rests on it.")
        lines += _TELLERS.get(understood.kind, _tell_pairs)(understood.facts)
        lines += _left_over_lines(understood)
    return "".join(f"{_printable(part).rstrip()}\n" for line in lines for part in _within(line))


# --- zone text ---


def _read_zone_text(body: bytes, _: str, left_over: list[str]) -> Facts:
    bulletin = parse_zone_text(body)
    for segment in bulletin.segments:
        where = _some_zones(segment.zones)
        left_over += [f"{where}: {phrase}" for phrase in segment.not_understood]
        left_over += _strange_headlines(segment.headlines, where)
        left_over += [f"{where} {p.label}: {phrase}" for p in segment.periods for phrase in p.not_understood]
    return {
        "product": bulletin.product,
        "office": bulletin.office,
        "issued_at": _time(bulletin.issued_at),
        "segments": [_zone_facts(segment) for segment in bulletin.segments],
    }


def _zone_facts(segment: ZoneForecast) -> Facts:
    return {
        "zones": list(segment.zones),
        "names": list(segment.names),
        "issued_at": _time(segment.issued_at),
        "expires_at": _time(segment.expires_at),
        "headlines": _headlines(segment.headlines),
        "periods": [_period_facts(period) for period in segment.periods],
        "synopsis": segment.synopsis,
        "foot": segment.foot,
        "not_understood": list(segment.not_understood),
    }


def _period_facts(period: ForecastPeriod) -> Facts:
    return {
        "label": period.label,
        "starts_at": _time(period.starts_at),
        "ends_at": _time(period.ends_at),
        "areas": [_area_facts(state) for state in period.states],
        "thunder_pct": _number(period.thunder_pct),
        "visibility_nm": _number(period.visibility_nm),
        "chop": period.chop,
        "outlooks": list(period.outlooks),
        "not_understood": list(period.not_understood),
        "text": period.text,
    }


def _area_facts(state: AreaState) -> Facts:
    return {
        "area": state.area,
        "wind_kt": _range(state.wind_kt),
        "gust_kt": _number(state.gust_kt),
        "wind_from_deg": _number(state.wind_from_deg),
        "sea_ft": _range(state.sea_m, units.ft_from_m),
        "sea_m": _range(state.sea_m),
        "sea_whole": state.sea_whole if state.sea_m else None,
        "period_s": _number(state.period_s),
    }


def _headlines(headlines: Iterable[Headline]) -> list[Facts]:
    return [{"text": headline.text, "meaning": headline.meaning.value} for headline in headlines]


def _strange_headlines(headlines: Iterable[Headline], where: str) -> list[str]:
    return [f"{where} headline: {h.text}" for h in headlines if h.meaning is HeadlineMeaning.NOT_UNDERSTOOD]


_LABEL_WIDTH, _SPAN_WIDTH = 24, 21
_TITLE_WIDTH = _LABEL_WIDTH + 1 + _SPAN_WIDTH
_ZONE_ROW = f"  {{:<{_TITLE_WIDTH}}} {{:<13}} {{:>4}}  {{:<16}} {{:>5}} {{:>7}}"


def _tell_zone_text(facts: Facts) -> list[str]:
    lines = [
        f"  {facts['product']} from {facts['office']}, issued {_at(facts['issued_at'])}. Times are UTC.",
        "  Numbers are the range over the period; thunder is the upper end of what its words stand for.",
        "  - is no number; part is wind waves or swell named alone, so the whole sea isn't known.",
    ]
    for segment in facts["segments"]:
        lines += ["", *_zones_line(segment["zones"])]
        lines += [line for name in segment["names"] for line in _wrapped(name, "  ")]
        lines.append(f"  Expires {_at(segment['expires_at'])}.")
        lines += _tell_headlines(segment["headlines"])
        lines += [
            line for lost in segment["not_understood"] for line in _wrapped(f"! NOT UNDERSTOOD: {lost}", "  ")
        ]
        if segment["synopsis"]:
            lines += _wrapped(segment["synopsis"], "  ")
        if segment["periods"]:
            title = f"{'period':<{_LABEL_WIDTH}} from - to"
            lines.append(_ZONE_ROW.format(title, "wind kt", "gust", "sea ft (m)", "s", "thunder"))
        for period in segment["periods"]:
            lines += _tell_period(period)
        if segment["foot"]:
            lines += _wrapped(segment["foot"], "  ")
    return lines


def _tell_headlines(headlines: Iterable[Facts]) -> list[str]:
    return [line for h in headlines for line in _wrapped(f"{h['meaning'].upper()}: {h['text']}", "  ")]


def _tell_period(period: Facts) -> list[str]:
    label = period["label"]
    span = _from_to(period["starts_at"], period["ends_at"]) if period["starts_at"] else "not known"
    thunder = "?" if period["thunder_pct"] is None else f"{_shown(period['thunder_pct'])} %"
    title = f"{label:<{_LABEL_WIDTH}} {span:<{_SPAN_WIDTH}}"
    areas = period["areas"] or [{}]
    lines = []
    if len(title) > _TITLE_WIDTH or areas[0].get("area"):
        lines.append(f"  {label}  {span}")
        title = ""
    for area in areas:
        if area.get("area"):
            *above, title = _wrapped(area["area"], "    ", "")
            if len(title) > _TITLE_WIDTH:
                above, title = [*above, title], ""
            lines += above
            title = title.removeprefix("  ")
        lines.append(_ZONE_ROW.format(title, *_area_cells(area), thunder))
        title, thunder = "", ""
    notes = [f"! NOT UNDERSTOOD, no call: {phrase}" for phrase in period["not_understood"]]
    if period["visibility_nm"] is not None:
        notes.append(f"visibility at most {_shown(period['visibility_nm'])} nmi")
    if period["chop"]:
        notes.append(f"sheltered waters: {period['chop']}")
    notes += [f"outlook: {outlook}" for outlook in period["outlooks"]]
    return lines + [line for note in notes for line in _wrapped(note, " " * 6)]


def _area_cells(area: Facts) -> tuple[str, str, str, str]:
    if not area:
        return "-", "-", "-", "-"
    sea = "-"
    if area["sea_m"]:
        part = "" if area["sea_whole"] else "part "
        sea = f"{part}{_shown_range(area['sea_ft'])} ({_shown_range(area['sea_m'])})"
    wind = _shown_range(area["wind_kt"]) if area["wind_kt"] else "-"
    from_point = f"{_point(area['wind_from_deg'])} " if area["wind_from_deg"] is not None else ""
    return f"{from_point}{wind}", _shown(area["gust_kt"]), sea, _shown(area["period_s"])


# --- grid ---


def _read_grid(body: bytes, _: str, left_over: list[str]) -> Facts:
    grid = parse_grid(body)
    hours = hours_of_grid(grid, gives=QUANTITIES)
    left_over += grid.faults
    unclear = hours.unclear[hours.unclear != ""]
    for why, count in Counter(unclear).items():
        first = unclear.index[unclear == why][0].to_pydatetime()
        left_over.append(f"{why} ({_many(count, 'hour')}, the first from {_at(_time(first))})")
    empty = {q: hours.notes.get(q, "no number in any hour") for q in QUANTITIES if hours.numbers[q].isna().all()}
    return {
        "cell": grid.key,
        "updated_at": _time(grid.updated_at),
        "valid_from": _time(grid.valid_from),
        "valid_to": _time(grid.valid_to),
        "no_opinion": empty,
        "notes": {q: note for q, note in hours.notes.items() if q not in empty},
        "hours_known": {q: int(hours.numbers[q].notna().sum()) for q in QUANTITIES},
        "hazards": [_hazard_facts(hazard) for hazard in grid.hazards],
        "hours": _hour_rows(hours),
    }


def _hazard_facts(hazard: GridHazard) -> Facts:
    return {
        "name": hazard_name(hazard.phenomenon, hazard.significance),
        "phenomenon": hazard.phenomenon,
        "significance": hazard.significance,
        "number": hazard.number,
        "starts_at": _time(hazard.starts_at),
        "ends_at": _time(hazard.ends_at),
    }


def _hour_rows(hours: SourceHours) -> list[Facts]:
    numbers = hours.numbers[list(QUANTITIES)].to_numpy(dtype=float)
    whole = hours.whole[list(QUANTITIES)].to_numpy(dtype=bool)
    rows = []
    for at, values, wholes, unclear in zip(hours.numbers.index, numbers, whole, hours.unclear, strict=True):
        told = {q: _number(float(value)) for q, value in zip(QUANTITIES, values, strict=True)}
        sea_ft = _number(units.ft_from_m(float(values[QUANTITIES.index("sea_m")])))
        in_part = [q for q, entire in zip(QUANTITIES, wholes, strict=True) if told[q] is not None and not entire]
        rows.append({"at": _time(at), **told, "sea_ft": sea_ft, "in_part": in_part, "unclear": unclear})
    return rows


_GRID_HEADS: Mapping[str, str] = {
    "wind_kt": "wind_kt",
    "gust_kt": "gust_kt",
    "wind_from_deg": "from",
    "sea_ft": "sea_ft",
    "sea_m": "sea_m",
    "period_s": "period_s",
    "thunder_pct": "thunder_%",
    "visibility_nm": "visibility_nmi",
}
_GRID_ROW = "  {:<7} {:>8} {:>8} {:>8} {:>7} {:>6} {:>9} {:>10} {:>15}"


def _tell_grid(facts: Facts) -> list[str]:
    known = facts["hours_known"]
    total = len(facts["hours"])
    lines = [
        f"  Cell {facts['cell']}, updated {_at(facts['updated_at'])}.",
        f"  Valid {_at(facts['valid_from'])} to {_at(facts['valid_to'])}, {total} hours.",
    ]
    said = []
    for quantity, why in facts["no_opinion"].items():
        said.append(f"{'no sea forecast' if quantity == 'sea_m' else f'no {quantity}'} ({why})")
    lines += _wrapped(f"No opinion: {'; '.join(said) if said else 'none, every layer gives numbers'}.", "  ")
    short = [f"{q} in {n} of {total} hours" for q, n in known.items() if 0 < n < total]
    if short:
        lines += _wrapped(f"In a part of the time only: {'; '.join(short)}.", "  ")
    lines += [line for q, note in facts["notes"].items() for line in _wrapped(f"{q}: {note}.", "  ")]
    lines += [
        f"  Hazard: {hazard['name']}, {_at(hazard['starts_at'])} to {_at(hazard['ends_at'])}"
        for hazard in facts["hazards"]
    ]
    lines.append("  A row stands for the hour that begins then, UTC; - is no number, ? is for a part of the hour.")
    day = ""
    for row in facts["hours"]:
        at = datetime.fromisoformat(row["at"])
        if f"{at:%a %d %b %Y}" != day:
            day = f"{at:%a %d %b %Y}"
            lines += ["", f"  {day}", _GRID_ROW.format("hour", *_GRID_HEADS.values())]
        lines.append(_GRID_ROW.format(f"{at:%H:%M}", *(_grid_cell(row, column) for column in _GRID_HEADS)))
    return lines


def _grid_cell(row: Facts, column: str) -> str:
    value = row[column]
    if value is None:
        return "-"
    shown = f"{_point(value)} {value:03.0f}" if column == "wind_from_deg" else _shown(value)
    return f"{shown}?" if column.replace("sea_ft", "sea_m") in row["in_part"] else shown


# --- warnings ---


def _read_alerts(body: bytes, _: str, left_over: list[str]) -> Facts:
    reply = parse_alerts(body)
    left_over += reply.faults
    at = reply.updated_at
    held: _Held = _held_by_message(reply.warnings, at) if at is not None else {}
    warnings = [_alert_facts(message, held.get(message, []), at) for message in reply.warnings]
    return {
        "updated_at": _time(at),
        "whole": reply.next_url is None,
        "next_url": reply.next_url,
        "count": len(warnings),
        "events": dict(Counter(warning["event"] for warning in warnings).most_common()),
        "states": dict(Counter(warning["state"] for warning in warnings).most_common()),
        "warnings": sorted(warnings, key=_alert_order),
    }


_Held = Mapping[OfficialWarning, Sequence[HeldWarning]]


def _held_by_message(messages: Sequence[OfficialWarning], at: datetime) -> _Held:
    zones = {zone for message in messages for zone in message.zones} | {_ANY_ZONE}
    found: dict[OfficialWarning, list[HeldWarning]] = {}
    for held in in_force(messages, zones, at, _FOREVER):
        found.setdefault(held.message, []).append(held)
    return found


def _alert_facts(message: OfficialWarning, held: Sequence[HeldWarning], at: datetime | None) -> Facts:
    still = {zone for hold in held for zone in hold.zones}
    ends = [hold.ends_at for hold in held]
    return {
        "event": message.event,
        "state": _alert_state(message, held, at),
        "zones": list(message.zones),
        "zones_released": [zone for zone in message.zones if held and zone not in still],
        "starts_at": _time(min((hold.starts_at for hold in held), default=message.onset_at)),
        "ends_at": None if None in ends else _time(max((e for e in ends if e), default=message.ends_at)),
        "vtec": [_vtec_facts(vtec, at) for vtec in message.vtec],
        "sender": message.sender,
        "status": message.status,
        "message_type": message.message_type,
        "severity": message.severity,
        "sent_at": _time(message.sent_at),
        "effective_at": _time(message.effective_at),
        "onset_stated": _time(message.onset_at),
        "ends_stated": _time(message.ends_at),
        "message_expires_at": _time(message.expires_at),
        "id": message.id,
        "references": list(message.references),
        "url": message.url,
        "headline": message.headline,
        "text": message.text,
        "not_understood": list(message.not_understood),
    }


def _alert_state(message: OfficialWarning, held: Sequence[HeldWarning], at: datetime | None) -> str:
    if message.status != "Actual":
        return "not used"
    if at is None:
        return "not known"
    if held:
        return "in force" if any(hold.starts_at <= at for hold in held) else "to come"
    if message.message_type == "Cancel" or any(vtec.action == "CAN" for vtec in message.vtec):
        return "cancelled"
    alone = in_force([message], message.zones or (_ANY_ZONE,), at, _FOREVER)
    return "replaced" if alone else "over"


def _alert_order(warning: Facts) -> tuple[int, bool, str, str, str]:
    """Waters before land within each state, then by begin."""
    on_land = bool(warning["zones"]) and not any(zone[:2] in MARINE_PREFIXES for zone in warning["zones"])
    state = _STATES.index(warning["state"])
    return state, on_land, warning["starts_at"] or "", warning["event"], warning["id"]


def _vtec_facts(vtec: Vtec, at: datetime | None) -> Facts:
    return {
        "text": vtec.text,
        "event": hazard_name(vtec.phenomenon, vtec.significance),
        "number": vtec.number,
        "office": vtec.office,
        "action": vtec.action,
        "action_told": _ACTIONS[vtec.action],
        "operational": vtec.product_class in ("O", "X"),
        "begins_at": _time(vtec.begins_at),
        "ends_at": _time(vtec.ends_at),
        "state": _vtec_state(vtec, at),
    }


def _vtec_state(vtec: Vtec, at: datetime | None) -> str:
    if vtec.product_class not in ("O", "X"):
        return "not used"
    if vtec.action in ENDING_ACTIONS:
        return "replaced" if vtec.action == "UPG" else "cancelled"
    if at is None:
        return "not known"
    if vtec.ends_at is not None and vtec.ends_at <= at:
        return "over"
    return "to come" if vtec.begins_at is not None and vtec.begins_at > at else "in force"


def _tell_alerts(facts: Facts) -> list[str]:
    made = f"made {_at(facts['updated_at'])}" if facts["updated_at"] else "it doesn't say when it was made"
    lines = [f"  {_many(facts['count'], 'message')}, {made}. States are reckoned at that time; times are UTC."]
    if not facts["whole"]:
        lines += _wrapped(f"ONLY A PART of the list: it goes on at {facts['next_url']}", "  ")
    if not facts["count"]:
        lines.append("  None is active where it was asked for, at that time.")
    for counted in (facts["states"], facts["events"]):
        if counted:
            lines += _wrapped("; ".join(f"{count} {what}" for what, count in counted.items()), "  ")
    for warning in facts["warnings"]:
        lines += ["", *_tell_alert(warning)]
    return lines


def _tell_alert(warning: Facts) -> list[str]:
    lines = _wrapped(f"{warning['event']}: {warning['state'].upper()}, from {warning['sender'] or 'unknown'}")
    lines += _labelled("zones", " ".join(warning["zones"]) or "none named, so any zone")
    if warning["zones_released"]:
        lines += _labelled("no more", " ".join(warning["zones_released"]))
    starts, ends = _short(warning["starts_at"], "no begin stated"), _short(warning["ends_at"], "no end stated")
    sent = f"{warning['message_type']} sent {_short(warning['sent_at'], '')}"
    lines += _labelled("times", f"{starts} to {ends}; {sent}")
    lines += _tell_vtecs(warning["vtec"])
    if warning["headline"]:
        lines += _labelled("says", warning["headline"])
    return lines + [line for lost in warning["not_understood"] for line in _labelled("! lost", lost)]


def _tell_vtecs(vtecs: Iterable[Facts]) -> list[str]:
    lines = []
    for vtec in vtecs:
        begins, ends = _short(vtec["begins_at"], "already begun"), _short(vtec["ends_at"], "further notice")
        event = f"{vtec['event']} {vtec['number']} of {vtec['office']}"
        lines += _labelled(
            "VTEC", f"{vtec['action']} ({vtec['action_told']}), {begins} to {ends}: {vtec['state']}"
        )
        lines += _wrapped(event, " " * 10)
    return lines


# --- warning text ---


def _read_warning_text(body: bytes, _: str, left_over: list[str]) -> Facts:
    bulletin = parse_warning_text(body)
    for segment in bulletin.segments:
        where = _some_zones(segment.zones)
        left_over += [f"{where}: {phrase}" for phrase in segment.not_understood]
        left_over += _strange_headlines(segment.headlines, where)
    return {
        "product": bulletin.product,
        "office": bulletin.office,
        "issued_at": _time(bulletin.issued_at),
        "segments": [_warning_facts(segment) for segment in bulletin.segments],
    }


def _warning_facts(segment: WarningSegment) -> Facts:
    vtecs = [_vtec_facts(vtec, segment.issued_at) for vtec in segment.vtec]
    return {
        "zones": list(segment.zones),
        "names": list(segment.names),
        "state": _segment_state(segment.state, vtecs),
        "issued_at": _time(segment.issued_at),
        "expires_at": _time(segment.expires_at),
        "vtec": vtecs,
        "headlines": _headlines(segment.headlines),
        "text": segment.text,
        "not_understood": list(segment.not_understood),
    }


def _segment_state(state: SegmentState, vtecs: Sequence[Facts]) -> str:
    """The state at the time of issue; where several events differ, the one told first."""
    if state is SegmentState.STATEMENT:
        return "in force (a statement, until it expires)"
    if state is SegmentState.NOT_UNDERSTOOD:
        return "not understood, so to be taken as in force"
    return min((str(vtec["state"]) for vtec in vtecs), key=_STATES.index)


def _tell_warning_text(facts: Facts) -> list[str]:
    lines = [
        f"  {facts['product']} from {facts['office']}, issued {_at(facts['issued_at'])}. "
        "States are reckoned at that time; times are UTC."
    ]
    for segment in facts["segments"]:
        lines += ["", *_zones_line(segment["zones"])]
        lines += [line for name in segment["names"] for line in _wrapped(name, "  ")]
        expires = _at(segment["expires_at"]) if segment["expires_at"] else "at a time that can't be read"
        lines += _wrapped(f"{segment['state'].upper()}; this text expires {expires}", "  ")
        lines += _tell_vtecs(segment["vtec"])
        lines += _tell_headlines(segment["headlines"])
        lines += [line for lost in segment["not_understood"] for line in _labelled("! lost", lost)]
    return lines


# --- observations ---


def _read_station(body: bytes, name: str, _: list[str]) -> Facts:
    report = parse_realtime(body, PurePath(name).name.partition(".")[0] or "not named")
    rows = report.rows
    measured = {}
    for quantity in rows.columns:
        newest = report.newest.get(str(quantity))
        measured[str(quantity)] = {
            "newest": None if newest is None else _number(newest.value),
            "newest_at": None if newest is None else _time(newest.at),
            "holes": int(rows[quantity].isna().sum()),
        }
    return {
        "station": report.station,
        "rows": len(rows),
        "first_at": _time(rows.index[0]),
        "last_at": _time(rows.index[-1]),
        "measured": measured,
    }


_HOUSE_UNITS: Mapping[str, str] = {
    "wind_kt": "kt",
    "gust_kt": "kt",
    "wind_from_deg": "deg true",
    "sea_m": "m",
    "period_s": "s",
    "visibility_nm": "nmi",
}
_STATION_ROW = "  {:<12} {:>18}  {:<22} {:>16}"


def _tell_station(facts: Facts) -> list[str]:
    lines = [
        f"  Station {facts['station']}: {_many(facts['rows'], 'row')}, "
        f"{_at(facts['first_at'])} to {_at(facts['last_at'])}.",
        "  Wind is at the height of the station's own anemometer, mostly lower than the forecast's 10 m.",
        _STATION_ROW.format("quantity", "newest", "measured at", "holes"),
    ]
    for quantity, measured in facts["measured"].items():
        value = measured["newest"]
        shown = f"{_shown(value)} {_HOUSE_UNITS[quantity]}" if value is not None else "never"
        if quantity == "sea_m" and value is not None:
            shown = f"{_shown(units.ft_from_m(value))} ft ({_shown(value)} m)"
        at = _at(measured["newest_at"]) if measured["newest_at"] else "-"
        lines.append(_STATION_ROW.format(_plain(quantity), shown, at, f"{measured['holes']} of {facts['rows']}"))
    return lines


def _read_latest(body: bytes, _: str, __: list[str]) -> Facts:
    table = parse_latest(body)
    measured = [str(name) for name in table.columns if name not in ("at", "lat", "lon")]
    stations = []
    for station, row in table.iterrows():
        place = {"lat": _number(float(row["lat"])), "lon": _number(float(row["lon"]))}
        numbers = {name: _number(float(row[name])) for name in measured}
        if "sea_m" in measured:
            numbers["sea_ft"] = _number(units.ft_from_m(float(row["sea_m"])))
        stations.append({"station": str(station), "at": _time(row["at"]), **place, **numbers})
    return {
        "count": len(stations),
        "first_at": _time(table["at"].min()),
        "last_at": _time(table["at"].max()),
        "holes": {name: int(table[name].isna().sum()) for name in measured},
        "stations": stations,
    }


_LATEST_HEADS: Mapping[str, str] = {**_GRID_HEADS, "visibility_nm": "vis_nmi"}
_LATEST_COLUMNS = tuple(column for column in _LATEST_HEADS if column != "thunder_pct")
_LATEST_ROW = "  {:<7} {:<12} {:>7} {:>9} {:>8} {:>8} {:>8} {:>7} {:>6} {:>8} {:>8}"


def _tell_latest(facts: Facts) -> list[str]:
    lines = [
        f"  {_many(facts['count'], 'station')}, {_at(facts['first_at'])} to {_at(facts['last_at'])}.",
        "  Times are UTC; - is a hole. Wind is at the height of the station's own anemometer.",
    ]
    holes = "; ".join(f"{_plain(name)} {count}" for name, count in facts["holes"].items())
    lines += _wrapped(f"Stations without: {holes}.", "  ")
    heads = [_LATEST_HEADS[column] for column in _LATEST_COLUMNS]
    lines.append(_LATEST_ROW.format("station", "at", "lat", "lon", *heads))
    for row in facts["stations"]:
        cells = [_grid_cell({column: row.get(column), "in_part": ()}, column) for column in _LATEST_COLUMNS]
        at = f"{datetime.fromisoformat(row['at']):%d %b %H:%M}"
        lines.append(_LATEST_ROW.format(row["station"][:7], at, row["lat"] or "-", row["lon"] or "-", *cells))
    return lines


def _read_other_table(body: bytes, name: str, _: list[str]) -> Facts:
    """Rows of a station's table that holds neither wind nor sea: how many, and from when to when."""
    lines = [line.split() for line in body.decode("utf-8", errors="replace").splitlines()]
    rows = [line for line in lines[2:] if len(line) > 5]
    times = []
    for row in rows:
        date, clock = "-".join(row[:3]), ":".join(row[3:5])
        times.append(moment(f"{date}T{clock}Z", "a row of the table"))
    if not times:
        raise NotUnderstood("expected a table of measurements, found no rows")
    return {
        "station": PurePath(name).name.partition(".")[0] or "not named",
        "columns": lines[0][5:],
        **_counted(len(rows), _time(min(times)), _time(max(times))),
    }


# --- places ---


def _read_point(body: bytes, _: str, __: list[str]) -> Facts:
    point = parse_point(body)
    return {
        "lat": point.lat,
        "lon": point.lon,
        "cell": point.cell,
        "office": point.office,
        "on_land": point.on_land,
        "forecast_zone": point.forecast_zone,
        "zones": list(point.zone_ids),
        "time_zone": point.time_zone,
    }


def _read_zone(body: bytes, _: str, __: list[str]) -> Facts:
    zone = parse_zone(body)
    return {
        "zone": zone.id,
        "kind": zone.kind,
        "name": zone.name,
        "offices": list(zone.offices),
        "time_zones": list(zone.time_zones),
    }


# --- lists, and kinds that carry no call ---


def _read_product_list(body: bytes, _: str, __: list[str]) -> Facts:
    where = "list of text products"
    products = []
    for entry in map(_object, list_at(read_object(body, what="a list of text products"), "@graph", where)):
        products.append(
            {
                "product": text_or_none_at(entry, "productCode", where),
                "office": text_or_none_at(entry, "issuingOffice", where),
                "issued_at": _time(moment(entry.get("issuanceTime"), where)),
                "id": text_at(entry, "id", where),
            }
        )
    times = [str(product["issued_at"]) for product in products]
    return {**_counted(len(products), min(times, default=None), max(times, default=None)), "products": products}


def _tell_product_list(facts: Facts) -> list[str]:
    lines = _tell_pairs({key: value for key, value in facts.items() if key != "products"})
    for product in facts["products"]:
        code, office = product["product"] or "?", product["office"] or "?"
        lines += _wrapped(f"{_at(product['issued_at'])}  {code} {office}  {product['id']}", "  ")
    return lines


def _read_other_text(body: bytes, _: str, __: list[str]) -> Facts:
    text = body.decode("utf-8", errors="replace")
    if body.lstrip().startswith(b"{"):
        text = str(read_object(body, what="a text product").get("productText", ""))
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return {"lines": len(lines), "head": lines[:6]}


def _read_point_forecast(body: bytes, _: str, __: list[str]) -> Facts:
    where = "point forecast"
    said = object_at(read_object(body, what="a point forecast"), "properties", where)
    periods = [_object(period) for period in list_at(said, "periods", where)]
    starts, ends = (
        [at for period in periods if (at := moment_or_none_at(period, key, where)) is not None]
        for key in ("startTime", "endTime")
    )
    return {
        "updated_at": _time(moment_or_none_at(said, "updateTime", where)),
        **_counted(len(periods), _time(min(starts, default=None)), _time(max(ends, default=None))),
        "periods_without_time": len(periods) - len(starts),
    }


def _read_tides(body: bytes, _: str, __: list[str]) -> Facts:
    """The reply names neither zone, datum nor unit, so times stay as printed and heights are left alone."""
    return _as_printed(read_object(body, what="tide predictions"), "predictions")


def _read_levels(body: bytes, _: str, __: list[str]) -> Facts:
    reply = read_object(body, what="water levels")
    station = object_at(reply, "metadata", "water levels") if "metadata" in reply else {}
    named = {key: text_or_none_at(station, key, "water levels") for key in ("id", "name")}
    return {**named, **_as_printed(reply, "data")}


def _as_printed(reply: Mapping[str, object], key: str) -> Facts:
    times = [text_at(_object(row), "t", key) for row in list_at(reply, key, "tides")]
    return {
        "count": len(times),
        "first_as_printed": min(times, default=None),
        "last_as_printed": max(times, default=None),
        "zone_of_times": "not stated",
    }


def _read_tide_stations(body: bytes, _: str, __: list[str]) -> Facts:
    where = "tide station"
    stations = [_object(s) for s in list_at(read_object(body, what="tide stations"), "stations", where)]
    return {
        "count": len(stations),
        "stations": [
            {
                "id": text_at(station, "id", where),
                "name": text_or_none_at(station, "name", where),
                "lat": _any_number(station.get("lat")),
                "lon": _any_number(station.get("lng")),
            }
            for station in stations
        ],
    }


def _read_second_opinion(body: bytes, _: str, __: list[str]) -> Facts:
    """Times of the reply are local; its own offset makes them UTC."""
    where = "marine model"
    reply = read_object(body, what="a marine model's reply")
    offset = timedelta(seconds=whole_number_at(reply, "utc_offset_seconds", where))
    hourly = object_at(reply, "hourly", where) if reply.get("hourly") is not None else {}
    printed = [str(at) for at in list_at(hourly, "time", where)] if hourly else []
    times = [moment(f"{at}Z", where) - offset for at in printed]
    empty = [key for key, row in hourly.items() if isinstance(row, list) and all(v is None for v in row)]
    return {
        "lat": _any_number(reply.get("latitude")),
        "lon": _any_number(reply.get("longitude")),
        **_counted(len(times), _time(min(times, default=None)), _time(max(times, default=None))),
        "layers": [key for key in hourly if key != "time" and key not in empty],
        "empty_layers": empty,
    }


def _refuse(body: bytes, _: str, __: list[str]) -> Facts:
    """A fault of the service, a page, or something unknown: say what stands there."""
    what = "a forecast, a list of warnings or observations"
    if body.lstrip()[:1] in (b"{", b"[", b"<", b""):
        read_object(body, what=what)
    raise NotUnderstood(f"expected {what}, found none of the forms that are known")


def _counted(count: int, first_at: str | None, last_at: str | None) -> Facts:
    return {"count": count, "first_at": first_at, "last_at": last_at}


def _object(value: object) -> Mapping[str, object]:
    if not isinstance(value, dict):
        raise NotUnderstood("expected a list of objects, found something else in it")
    return value


def _any_number(value: object) -> float | None:
    return _number(float(value)) if isinstance(value, (int, float)) and units.is_number(value) else None


def _tell_pairs(facts: Facts) -> list[str]:
    return [line for key, value in facts.items() for line in _pair(key.replace("_", " "), value)]


def _pair(key: str, value: object) -> list[str]:
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return [line for item in value for line in _pair(key, item)]
    if isinstance(value, dict):
        value = [f"{name} {_as_given(part)}" for name, part in value.items()]
    if isinstance(value, list):
        value = ", ".join(map(str, value)) or "none"
    if key.endswith(" at") and isinstance(value, str):
        value = _at(value)
    return _wrapped(f"{key:<22} {_as_given(value)}", "  ", " " * 23)


def _as_given(value: object) -> str:
    if value is None:
        return "not stated"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


# --- words and numbers ---


def _left_over_lines(understood: Understood) -> list[str]:
    if understood.kind in NOT_USED:
        return []
    if not understood.not_understood:
        return ["", "Nothing in it was left over as not understood."]
    lines = ["", f"Not understood ({len(understood.not_understood)}):"]
    return lines + [line for phrase in understood.not_understood for line in _wrapped(phrase, "  ", "  ")]


def _time(at: datetime | None) -> str | None:
    return None if at is None else at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _at(text: str | None) -> str:
    """``Thu 2023-06-15 14:45 UTC``."""
    return "not known" if text is None else f"{datetime.fromisoformat(text):%a %Y-%m-%d %H:%M} UTC"


def _short(text: str | None, without: str) -> str:
    """``Thu 2023-06-15 14:45``, in UTC as the head of its text says; ``without`` where there is no time."""
    return without if text is None else f"{datetime.fromisoformat(text):%a %Y-%m-%d %H:%M}"


def _from_to(starts_at: str, ends_at: str) -> str:
    first, last = datetime.fromisoformat(starts_at), datetime.fromisoformat(ends_at)
    return f"{first:%a %H:%M} - {last:%a %H:%M}"


def _number(value: float | None) -> float | None:
    """A number to three decimals; None for a hole."""
    return round(float(value), 3) if units.is_number(value) and value is not None else None


def _range(said: Range | None, into: Callable[[float], float] = float) -> Facts | None:
    if said is None:
        return None
    return {"low": None if said.low is None else _number(into(said.low)), "high": _number(into(said.high))}


def _shown(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}".removesuffix(".0")


def _shown_range(said: Facts) -> str:
    if said["low"] is None:
        return f"<={_shown(said['high'])}"
    low, high = _shown(said["low"]), _shown(said["high"])
    return high if low == high else f"{low}-{high}"


def _point(from_deg: float) -> str:
    return _POINTS[round(from_deg / 22.5) % 16]


def _plain(quantity: str) -> str:
    """``wind_from_deg`` as a person says it."""
    return {"wind_from_deg": "wind from"}.get(quantity, quantity.rpartition("_")[0])


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _some_zones(zones: Sequence[str]) -> str:
    if not zones:
        return "unknown zones"
    return zones[0] if len(zones) == 1 else f"{zones[0]} and {len(zones) - 1} more"


def _zones_line(zones: Sequence[str]) -> list[str]:
    return _wrapped(" ".join(zones) or "ZONES NOT UNDERSTOOD: it may concern any zone")


def _labelled(label: str, text: str) -> list[str]:
    return _wrapped(f"{label:<8}{text}", "  ", " " * 8)


def _wrapped(text: str, indent: str = "", further: str = "  ") -> list[str]:
    """Lines of at most WIDTH columns; ``further`` is added to the indent of all but the first."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + further) or [""]


def _within(line: str) -> list[str]:
    return [line] if len(line) <= WIDTH else _wrapped(line, "", "    ")


def _printable(line: str) -> str:
    """Nothing from a payload may steer the terminal."""
    return "".join(char if char.isprintable() else "?" for char in line)


_Reader = Callable[[bytes, str, list[str]], Facts]

_READERS: Mapping[PayloadKind, _Reader] = {
    PayloadKind.ZONE_TEXT: _read_zone_text,
    PayloadKind.WARNING_TEXT: _read_warning_text,
    PayloadKind.OTHER_TEXT: _read_other_text,
    PayloadKind.PRODUCT_LIST: _read_product_list,
    PayloadKind.GRID: _read_grid,
    PayloadKind.POINT_FORECAST: _read_point_forecast,
    PayloadKind.ALERTS: _read_alerts,
    PayloadKind.POINT: _read_point,
    PayloadKind.ZONE: _read_zone,
    PayloadKind.PROBLEM: _refuse,
    PayloadKind.NDBC_REALTIME: _read_station,
    PayloadKind.NDBC_CWIND: _read_station,
    PayloadKind.NDBC_SPEC: _read_station,
    PayloadKind.NDBC_STDMET: _read_station,
    PayloadKind.NDBC_OCEAN: _read_other_table,
    PayloadKind.NDBC_LATEST: _read_latest,
    PayloadKind.TIDE_PREDICTIONS: _read_tides,
    PayloadKind.WATER_LEVELS: _read_levels,
    PayloadKind.STATION_METADATA: _read_tide_stations,
    PayloadKind.SECOND_OPINION: _read_second_opinion,
    PayloadKind.HTML: _refuse,
    PayloadKind.UNKNOWN: _refuse,
}
_TELLERS: Mapping[PayloadKind, Callable[[Facts], list[str]]] = {
    PayloadKind.ZONE_TEXT: _tell_zone_text,
    PayloadKind.WARNING_TEXT: _tell_warning_text,
    PayloadKind.GRID: _tell_grid,
    PayloadKind.ALERTS: _tell_alerts,
    PayloadKind.PRODUCT_LIST: _tell_product_list,
    PayloadKind.NDBC_REALTIME: _tell_station,
    PayloadKind.NDBC_CWIND: _tell_station,
    PayloadKind.NDBC_SPEC: _tell_station,
    PayloadKind.NDBC_STDMET: _tell_station,
    PayloadKind.NDBC_LATEST: _tell_latest,
}
