"""The shared form of NWS text bulletins: headers, zone lines, issue times, segments.

Sources of the form: NWS Instruction 10-1701 (text product formats), 10-1702 (universal geographic code,
UGC), 10-1703 (VTEC), 10-310 (coastal waters forecast). Nothing is repaired here: what doesn't fit is
either raised as NotUnderstood (the whole bulletin) or kept as a fault of its segment.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

from soakbell.errors import NotUnderstood
from soakbell.feeds import strict_json

MARINE_PREFIXES = frozenset(
    {"AM", "AN", "GM", "LC", "LE", "LH", "LM", "LO", "LS", "PH", "PK", "PM", "PS", "PZ", "SL"}
)
"""First two letters of marine zones (NWSI 10-302; memory)."""

MOST_DISAGREEMENT = timedelta(minutes=90)
"""Issue line, transmission header and the API's issuance time may differ by this much (house rule)."""

MOST_SEGMENT_DISAGREEMENT = timedelta(minutes=30)
"""A segment's issue line may differ from its bulletin's by this much: one wrong letter in the name of its clock
makes an hour (house rule)."""

_OFFSET_H = {
    "UTC": 0, "GMT": 0, "AST": -4, "ADT": -3, "EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7, "MDT": -6,
    "PST": -8, "PDT": -7, "AKST": -9, "AKDT": -8, "HST": -10, "HDT": -9, "SST": -11, "CHST": 10,
}  # fmt: skip
_SUMMER_TIME_PLACE = {
    "E": "America/New_York",
    "C": "America/Chicago",
    "P": "America/Los_Angeles",
    "AK": "America/Anchorage",
}
"""Zones whose clocks change: a forecast issued before the change speaks of days after it by the new clock."""

_YEARS = range(1970, 2200)
"""Years a bulletin may name; outside them lies damage, and the calendar's ends can't be reckoned with."""

_WEEKDAYS = ("MON", "TUE", "WED", "THU", "FRI", "SAT", "SUN")
_MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")

_WMO = re.compile(r"([A-Z]{4}\d{2}) ([A-Z]{4}) (\d{2})(\d{2})(\d{2})(?: [A-Z]{3})?")
_AWIPS = re.compile(r"[A-Z0-9]{4,6}")
_SEQUENCE = re.compile(r"\d{3}")
_EXPIRES = re.compile(r"Expires:\d{12};;\d+")
_UGC_START = re.compile(r"[A-Z]{2}[CZ]\d{3}[->]")
_UGC_LINE = re.compile(r"[A-Z0-9>-]*-")
_UGC_END = re.compile(r"(?:^|-)(\d{6})-$")
_UGC_ITEM = re.compile(r"(?:([A-Z]{2})([CZ]))?(\d{3})(?:>(\d{3}))?")
_ONE_TIME = r"(\d{1,4}) (AM|PM) ([A-Z]{3,4}) ([A-Z]{3}) ([A-Z]{3}) (\d{1,2}) (\d{4})"
_ISSUE = re.compile(rf"{_ONE_TIME}(?: ?/{_ONE_TIME}/)?", re.IGNORECASE)
_UTC_ISSUE = re.compile(r"(\d{4}) UTC ([A-Z]{3}) ([A-Z]{3}) (\d{1,2}) (\d{4})", re.IGNORECASE)
_VTEC_START = re.compile(r"/[A-Z]\.")
_HARMLESS_CONTROLS = frozenset("\n\r\t\x01\x03")
_END = "$$"
_MOST_STRAY_LINES = 4
_LONGEST_STRAY = 60


@dataclass(frozen=True)
class IssueLine:
    """When a product or segment was issued, and the clocks of the zones it speaks for (one or two)."""

    issued_at: datetime
    clocks: tuple[tzinfo, ...]
    text: str


@dataclass(frozen=True)
class Segment:
    """What stands between one zone line and its ``$$``.

    ``body`` is what follows the issue line. ``faults`` are parts of the frame that can't be read; not empty
    means that nothing in the segment can carry a call.
    """

    zones: tuple[str, ...]
    expires_at: datetime | None
    vtec: tuple[str, ...]
    heading: tuple[str, ...]
    issue: IssueLine | None
    body: tuple[str, ...]
    faults: tuple[str, ...]
    text: str


@dataclass(frozen=True)
class Bulletin:
    """One text product.

    ``preamble`` holds the lines before the first zone line; ``strays`` the lines that stand outside all
    segments after it: a forecaster's initials, an address, or a segment whose zone line was damaged.
    """

    product: str
    office: str
    issued_at: datetime
    preamble: tuple[str, ...]
    segments: tuple[Segment, ...]
    strays: tuple[str, ...]
    text: str


def read_bulletin(body: bytes | str, *, products: Collection[str]) -> Bulletin:
    """The frame of a text product, from raw text or from the API's JSON around it.

    Args:
        products: product codes that are allowed (``CWF``).

    Raises:
        NotUnderstood: damaged text, another product, zones on land, or issue times that disagree.
    """
    text, api_issued = _unwrap(body)
    _check_characters(text)
    lines = _lines(text)
    wmo, lines = _wmo_header(lines)
    product, office, lines = _awips_id(lines, products)
    preamble, blocks, strays = _blocks(lines)
    issue = _bulletin_issue(preamble, blocks)
    sent = nearest_moment(int(wmo[3]), int(wmo[4]), int(wmo[5]), issue.issued_at)
    for other in (sent, api_issued):
        if other is not None and abs(other - issue.issued_at) > MOST_DISAGREEMENT:
            raise NotUnderstood(f"the bulletin says it was issued {issue.text!r}, but another part says {other}")
    return Bulletin(
        product=product,
        office=office,
        issued_at=issue.issued_at,
        preamble=tuple(preamble),
        segments=tuple(_segment(block, closed, issue) for block, closed in blocks),
        strays=tuple(strays),
        text=text,
    )


def parse_issue_line(line: str) -> IssueLine | None:
    """``1045 AM EDT Thu Jun 15 2023 /945 AM CDT Thu Jun 15 2023/``, or None if the line isn't one.

    Raises:
        NotUnderstood: it has the form, but no such moment, an unknown clock, or two moments that differ.
    """
    line = line.strip()
    utc = _UTC_ISSUE.fullmatch(line)
    if utc is not None:
        clock, weekday, month, day, year = utc.groups()
        moment = _moment(int(clock[:2]), int(clock[2:]), UTC, weekday, month, day, year)
        return IssueLine(moment, (UTC,), line)
    found = _ISSUE.fullmatch(line)
    if found is None:
        return None
    first, second = found.groups()[:7], found.groups()[7:]
    moments = [_clock_moment(part) for part in (first, second) if part[0] is not None]
    if len(moments) == 2 and moments[0][0] != moments[1][0]:
        raise NotUnderstood(f"two different moments on one issue line: {line!r}")
    return IssueLine(moments[0][0], tuple(clock for _, clock in moments), line)


def nearest_moment(day: int, hour: int, minute: int, near: datetime) -> datetime:
    """The moment with this day of the month and time (UTC) that lies nearest to ``near``.

    Raises:
        NotUnderstood: no month near ``near`` has such a moment.
    """
    found = []
    for shift in (-1, 0, 1):
        month = near.month - 1 + shift
        try:
            found.append(datetime(near.year + month // 12, month % 12 + 1, day, hour, minute, tzinfo=UTC))
        except ValueError:
            continue
    if not found:
        raise NotUnderstood(f"no such time of the month: {day:02d}{hour:02d}{minute:02d}")
    return min(found, key=lambda moment: abs(moment - near))


def parse_ugc(text: str) -> tuple[tuple[str, ...], str]:
    """Zone ids and the DDHHMM expiry of a zone line, its wrapped lines joined.

    Raises:
        NotUnderstood: the line breaks the form of NWSI 10-1702, or names zones that aren't marine.
    """
    items = text.rstrip("-").split("-")
    expiry = items.pop()
    if not re.fullmatch(r"\d{6}", expiry) or not items:
        raise NotUnderstood(f"expected zones and a six-figure time, found {text!r}")
    zones: list[str] = []
    prefix = ""
    for item in items:
        found = _UGC_ITEM.fullmatch(item)
        if found is None or not (found.group(1) or prefix):
            raise NotUnderstood(f"expected a zone in {text!r}, found {item!r}")
        if found.group(1):
            prefix = _marine_prefix(found.group(1), found.group(2), text)
        first, last = int(found.group(3)), int(found.group(4) or found.group(3))
        if last < first:
            raise NotUnderstood(f"zones run backwards in {text!r}")
        zones.extend(f"{prefix}{number:03d}" for number in range(first, last + 1))
    return tuple(zones), expiry


def lost_lines(bulletin: Bulletin) -> tuple[str, ...]:
    """Lines that may come from a segment whose own zone line was damaged.

    Outside the segments only initials and addresses may stand, and within one no second issue line.
    """
    strays = bulletin.strays
    lost = [
        line for line in strays if len(line) > _LONGEST_STRAY or line.startswith(("/", ".")) or _is_issue(line)
    ]
    if len(strays) > _MOST_STRAY_LINES and not lost:
        lost = list(strays)
    return (*lost, *(line for segment in bulletin.segments for line in segment.body if _is_issue(line)))


def _is_issue(line: str) -> bool:
    try:
        return parse_issue_line(line) is not None
    except NotUnderstood:
        return True


def fold(lines: Iterable[str]) -> str:
    """Lines joined by single spaces, runs of blanks made one."""
    return " ".join(" ".join(lines).split())


def zone_names(heading: Iterable[str]) -> tuple[str, ...]:
    """The zones' names; a line that doesn't end in a hyphen goes on in the next.

    A last line without one is a title ("Synopsis for ..."), or a name that was cut.
    """
    names: list[str] = []
    parts: list[str] = []
    for line in heading:
        parts.append(line)
        if line.endswith("-"):
            names.append(fold(parts).rstrip("- "))
            parts = []
    return tuple(names)


def _marine_prefix(area: str, kind: str, text: str) -> str:
    if kind != "Z" or area not in MARINE_PREFIXES:
        raise NotUnderstood(f"expected marine zones, found {area}{kind} in {text!r}")
    return f"{area}{kind}"


def _unwrap(body: bytes | str) -> tuple[str, datetime | None]:
    raw = body.encode("utf-8", "surrogatepass") if isinstance(body, str) else body
    if raw.lstrip().startswith(b"{"):
        where = "the API's JSON around a bulletin"
        wrapper = strict_json.read_object(raw, what=where)
        issued_at = strict_json.moment(wrapper.get("issuanceTime"), f"{where}: issuanceTime")
        return strict_json.text_at(wrapper, "productText", where), issued_at
    try:
        return raw.decode("utf-8"), None
    except UnicodeDecodeError as fault:
        raise NotUnderstood(f"the bulletin has bytes that are no text: {fault}") from fault


def _check_characters(text: str) -> None:
    for char in text:
        strange = not char.isprintable() or (char.isdecimal() and not char.isascii())
        if strange and char not in _HARMLESS_CONTROLS:
            raise NotUnderstood(f"the bulletin has a character that is no text: {char!r}")


def _lines(text: str) -> list[str]:
    text = text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n").expandtabs()
    return [line.strip("\x01\x03").rstrip() for line in text.split("\n")]


def _wmo_header(lines: Sequence[str]) -> tuple[re.Match[str], list[str]]:
    for at, line in enumerate(lines):
        found = _WMO.fullmatch(line)
        if found is not None:
            return found, list(lines[at + 1 :])
        if line and not _SEQUENCE.fullmatch(line) and not _EXPIRES.fullmatch(line):
            raise NotUnderstood(f"expected a transmission header (FZUS52 KTAE 151445), found {line!r}")
    raise NotUnderstood("the bulletin has no transmission header")


def _awips_id(lines: Sequence[str], products: Collection[str]) -> tuple[str, str, list[str]]:
    first = next((at for at, line in enumerate(lines) if line), None)
    if first is None or not _AWIPS.fullmatch(lines[first]):
        raise NotUnderstood("expected a product line (CWFTAE) after the transmission header")
    product, office = lines[first][:3], lines[first][3:]
    if product not in products:
        raise NotUnderstood(f"expected one of {', '.join(sorted(products))}, found product {product!r}")
    return product, office, list(lines[first + 1 :])


def _blocks(lines: Sequence[str]) -> tuple[list[str], list[tuple[list[str], bool]], list[str]]:
    """Lines before the first zone line; each segment's lines and whether ``$$`` closed it; lines outside."""
    preamble: list[str] = []
    blocks: list[tuple[list[str], bool]] = []
    strays: list[str] = []
    block: list[str] | None = None
    for line in lines:
        if line.strip() == _END:
            if block is None and not blocks:
                raise NotUnderstood("a segment of the bulletin has no zone line")
            if block is not None:
                blocks.append((block, True))
            block = None
        elif _UGC_START.match(line):
            if block is not None:
                blocks.append((block, False))
            block = [line]
        elif block is not None:
            block.append(line)
        elif blocks:
            strays.extend([line] if line else [])
        else:
            preamble.append(line)
    if block is not None:
        blocks.append((block, False))
    if not blocks:
        raise NotUnderstood("the bulletin has no zone line")
    return preamble, blocks, strays


def _bulletin_issue(preamble: Sequence[str], blocks: Sequence[tuple[list[str], bool]]) -> IssueLine:
    for line in [*preamble, *(line for block, _ in blocks for line in block)]:
        issue = parse_issue_line(line)
        if issue is not None:
            return issue
    raise NotUnderstood("the bulletin doesn't say when it was issued")


def _segment(block: Sequence[str], closed: bool, bulletin: IssueLine) -> Segment:
    faults: list[str] = [] if closed else ["the segment isn't closed by $$"]
    zone_text, rest = _take_zone_line(block)
    zones: tuple[str, ...] = ()
    expires_at = None
    if zone_text is None:
        faults.append(f"zone line: {block[0]}")
    else:
        zones, expiry = parse_ugc(zone_text)
        expires_at = _expiry(expiry, bulletin.issued_at, faults)
    vtec, rest = _take_vtec(rest)
    heading, issue, body = _take_heading(rest, faults)
    if issue is not None and abs(issue.issued_at - bulletin.issued_at) > MOST_SEGMENT_DISAGREEMENT:
        faults.append(f"issued at another time than the bulletin: {issue.text}")
    return Segment(
        zones, expires_at, tuple(vtec), tuple(heading), issue, tuple(body), tuple(faults), "\n".join(block).strip()
    )


def _take_zone_line(block: Sequence[str]) -> tuple[str | None, list[str]]:
    taken = ""
    for at, line in enumerate(block):
        if not _UGC_LINE.fullmatch(line):
            return None, list(block[1:])
        taken += line
        if _UGC_END.search(taken):
            return taken, list(block[at + 1 :])
    return None, list(block[1:])


def _expiry(text: str, issued_at: datetime, faults: list[str]) -> datetime | None:
    try:
        expires_at = nearest_moment(int(text[:2]), int(text[2:4]), int(text[4:]), issued_at)
    except NotUnderstood as fault:
        faults.append(str(fault))
        return None
    if expires_at <= issued_at:
        faults.append(f"expires at {text}, before it was issued")
    return expires_at


def _take_vtec(lines: Sequence[str]) -> tuple[list[str], list[str]]:
    count = 0
    while count < len(lines) and _VTEC_START.match(lines[count]):
        count += 1
    return list(lines[:count]), list(lines[count:])


def _take_heading(lines: Sequence[str], faults: list[str]) -> tuple[list[str], IssueLine | None, list[str]]:
    for at, line in enumerate(lines):
        if line.startswith("."):
            break
        try:
            issue = parse_issue_line(line)
        except NotUnderstood as fault:
            faults.append(str(fault))
            return [part for part in lines[:at] if part], None, list(lines[at + 1 :])
        if issue is not None:
            return [part for part in lines[:at] if part], issue, list(lines[at + 1 :])
    faults.append("the segment doesn't say when it was issued")
    return [], None, list(lines)


def _clock_moment(parts: Sequence[str]) -> tuple[datetime, tzinfo]:
    clock, half, zone, weekday, month, day, year = parts
    hour, minute = (int(clock), 0) if len(clock) <= 2 else (int(clock[:-2]), int(clock[-2:]))
    if not 1 <= hour <= 12:
        raise NotUnderstood(f"no such time on a twelve-hour clock: {clock}")
    hour = hour % 12 + (12 if half.upper() == "PM" else 0)
    moment = _moment(hour, minute, _fixed_clock(zone), weekday, month, day, year)
    return moment, _local_clock(zone.upper(), moment)


def _moment(hour: int, minute: int, clock: tzinfo, weekday: str, month: str, day: str, year: str) -> datetime:
    if int(year) not in _YEARS:
        raise NotUnderstood(f"no bulletin was issued in {year}")
    try:
        local = datetime(int(year), _MONTHS.index(month.upper()) + 1, int(day), hour, minute, tzinfo=clock)
    except ValueError as fault:
        raise NotUnderstood(f"no such moment: {hour:02d}:{minute:02d} {month} {day} {year}") from fault
    if _WEEKDAYS[local.weekday()] != weekday.upper():
        raise NotUnderstood(f"{month} {day} {year} is no {weekday}")
    return local.astimezone(UTC)


def _fixed_clock(zone: str) -> tzinfo:
    offset = _OFFSET_H.get(zone.upper())
    if offset is None:
        raise NotUnderstood(f"unknown time zone {zone!r}")
    return timezone(timedelta(hours=offset), zone)


def _local_clock(zone: str, moment: datetime) -> tzinfo:
    """The clock of the place, which goes on to the other half of the year on its own.

    Raises:
        NotUnderstood: summer time is named in winter, or the other way round: one letter of it is damaged.
    """
    place = _SUMMER_TIME_PLACE.get(zone[:-2])
    if place is None:
        return _fixed_clock(zone)
    clock = ZoneInfo(place)
    if moment.astimezone(clock).utcoffset() != timedelta(hours=_OFFSET_H[zone]):
        raise NotUnderstood(f"{zone} isn't the time kept there at {moment:%Y-%m-%d}")
    return clock
