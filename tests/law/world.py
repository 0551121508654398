"""An invented morning on Apalachee Bay as raw replies in the public formats. INVENTED DATA."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

from soakbell.gear.log import Detail, LogEntry, Pulled, TrapsSet
from soakbell.morning import Morning, make_call
from soakbell.sea.sources import RawReply, SourceKind
from soakbell.settings import Settings, load_settings
from soakbell.survey import OnHand, ReplyKey

NEW_YORK = ZoneInfo("America/New_York")
ZONE, OFFICE, STATION = "GMZ730", "TAE", "NCKF1"
INNER, OUTER = "TAE/77,71", "TAE/76,65"

NOW = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
"""Tuesday 04:30 Eastern Standard Time."""

TEXT: ReplyKey = (SourceKind.ZONE_TEXT, OFFICE)
INNER_GRID: ReplyKey = (SourceKind.GRID, INNER)
OUTER_GRID: ReplyKey = (SourceKind.GRID, OUTER)
WARNINGS: ReplyKey = (SourceKind.WARNINGS, ZONE)
STATION_REPORT: ReplyKey = (SourceKind.OBSERVATIONS, STATION)

MEDIA = {
    SourceKind.ZONE_TEXT: "application/ld+json",
    SourceKind.GRID: "application/geo+json",
    SourceKind.WARNINGS: "application/geo+json",
    SourceKind.OBSERVATIONS: "text/plain",
}

SETTINGS_TOML = """
[boat]
name = "Little Grebe"
cruise_kt = 14.0
haul_min_per_trap = 1.5
trip_margin_min = 30
[boat.limits]
wind_kt = 15
gust_kt = 20
sea_ft = 3
# more limits
[harbor]
name = "Notch Creek"
lat_deg = 30.075
lon_deg = -84.17
time_zone = "America/New_York"
area = "Inner Bay"
[[areas]]
name = "Inner Bay"
zone = "GMZ730"
office = "TAE"
lat_deg = 30.05
lon_deg = -84.15
grid = "TAE/77,71"
grid_gives = ["wind_kt", "gust_kt"]  # inner
[[areas]]
name = "Outer Bay"
zone = "GMZ730"
office = "TAE"
lat_deg = 29.92
lon_deg = -84.18
grid = "TAE/76,65"
grid_gives = ["wind_kt", "gust_kt", "sea_m"]  # outer
[[strings]]
name = "Nine Foot"
start = [30.030, -84.160]
end = [30.034, -84.148]
traps = 24
area = "Inner Bay"
depth_m = 2.7
soak_floor_days = 5
soak_ceiling_days = 14
[[strings]]
name = "Outer Bar"
start = [29.962, -84.205]
end = [29.966, -84.183]
traps = 36
area = "Outer Bay"
depth_m = 5.0
soak_floor_days = 6
soak_ceiling_days = 16
[crew]
hands = 2
young_aboard = false
[mail]
from_address = "little-grebe@boat.example"
to = ["skipper@boat.example"]
host = "mail.boat.example"
[sources]
contact = "skipper@boat.example"
[sources.chop_m]
"smooth" = 0.3
"a light chop" = 0.5
"choppy" = 1.2
[fishery]
file = "florida-stone-crab.toml"
sector = "commercial"
region = "elsewhere"
"""

FISHERIES = Path(__file__).resolve().parents[2] / "config" / "fisheries"


@cache
def settings_from(text: str = SETTINGS_TOML) -> Settings:
    """The settings written out so, beside the fishery files that ship."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "boat.toml"
        path.write_text(text, "utf-8")
        (Path(folder) / "fisheries").symlink_to(FISHERIES)
        return load_settings(path, {"STATE_DIRECTORY": folder})


def settings_with(*changes: tuple[str, str]) -> Settings:
    """The settings with pieces of their text put in another's place."""
    text = SETTINGS_TOML
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return settings_from(text)


GIVES_ALL = 'grid_gives = ["wind_kt", "gust_kt", "sea_m", "period_s", "thunder_pct", "visibility_nm"]'
WITH_STATION = (
    '"gust_kt"]  # inner',
    '"gust_kt"]\nstation = "NCKF1"\nstation_gives = ["wind_kt", "gust_kt", "sea_m"]',
)
WITH_ALL_LIMITS = (
    ("# more limits", "steepness = 0.05\nthunder_pct = 30\nvisibility_nm = 2"),
    ('grid_gives = ["wind_kt", "gust_kt"]  # inner', GIVES_ALL),
    ('grid_gives = ["wind_kt", "gust_kt", "sea_m"]  # outer', GIVES_ALL),
)


def set_days_ago(settings: Settings, days: float, now: datetime = NOW) -> tuple[LogEntry, ...]:
    """Every string put in with fresh bait that long ago."""
    at = now - timedelta(days=days)
    return tuple(
        LogEntry(f"set {name}", f"set {name}", at, at, "cli", TrapsSet(), name)
        for name in (string.name for string in settings.strings)
    )


# ---- Zone text --------------------------------------------------------------------------------------------


def stamp(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds")


def issue_line(at: datetime) -> str:
    local = at.astimezone(NEW_YORK)
    return f"{local.hour % 12 or 12}{local:%M %p %Z %a %b} {local.day} {local.year}"


def labels_for(issued_at: datetime, count: int = 12) -> list[str]:
    """Twelve-hour periods of a text issued before six in the morning."""
    today = issued_at.astimezone(NEW_YORK).date()
    later = [f"{today + timedelta(days=n):%A}".upper() for n in range(1, 8)]
    return ["TODAY", "TONIGHT", *(label for day in later for label in (day, f"{day} NIGHT"))][:count]


def said(wind_kt: int, sea_ft: int, *, more: str = "") -> str:
    """A period's sentences with these upper ends."""
    return (
        f"Southeast winds {max(wind_kt - 5, 1)} to {wind_kt} knots. Seas {max(sea_ft - 1, 0)} to {sea_ft} feet "
        f"with a dominant period of 4 seconds. Protected waters a light chop.{more}"
    )


def zone_text(
    periods: Sequence[tuple[str, str]],
    issued_at: datetime,
    *,
    headlines: Sequence[str] = (),
    offshore: Sequence[tuple[str, str]] = (),
    good_for_h: float = 13.5,
) -> bytes:
    """``/products/{id}``: an offshore segment, then that of our zone. ``periods``: label and sentences."""
    expiry = f"{issued_at + timedelta(hours=good_for_h):%d%H%M}"
    issue = issue_line(issued_at)
    lines = [
        "000",
        f"FZUS52 K{OFFICE} {issued_at.astimezone(UTC):%d%H%M}",
        f"CWF{OFFICE}",
        "",
        "Coastal Waters Forecast for an invented bay",
        "National Weather Service Tallahassee FL",
        issue,
        "",
        f"GMZ700-{expiry}-",
        "Synopsis for the waters out to 60 nm",
        issue,
        "",
        ".SYNOPSIS...",
        "High pressure holds. INVENTED DATA.",
        "",
        "$$",
        "",
        f"GMZ770-772-{expiry}-",
        "Waters from 20 to 60 NM-",
        issue,
        "",
        *(f".{label}...{text}" for label, text in offshore or periods),
        "",
        "$$",
        "",
        f"{ZONE}-765-{expiry}-",
        "Apalachee Bay out to 20 Nm-",
        "Coastal waters from Suwannee River to Keaton Beach out to 20 NM-",
        issue,
        "",
        *(line for headline in headlines for line in (f"...{headline}...", "")),
        *(f".{label}...{text}" for label, text in periods),
        "",
        "Winds and seas higher in and near thunderstorms.",
        "",
        "$$",
        "",
    ]
    return json.dumps(
        {
            "id": "invented",
            "issuingOffice": f"K{OFFICE}",
            "issuanceTime": stamp(issued_at),
            "productCode": "CWF",
            "productText": "\n".join(lines),
        }
    ).encode()


# ---- The grid ---------------------------------------------------------------------------------------------

Curve = float | Callable[[int], float]
"""A quantity by hours from the grid's first one, or the same for all."""

CENTRES = {INNER: (30.05, -84.15), OUTER: (29.92, -84.18)}
GRID_HOURS = 8 * 24


def lasting(hours: int) -> str:
    return f"PT{hours}H"


def times(factor: float, curve: Curve) -> Curve:
    return (lambda hour: curve(hour) * factor) if callable(curve) else curve * factor


def layer(first: datetime, uom: str, curve: Curve, hours: int = GRID_HOURS) -> dict[str, object]:
    """Hours of one value run together into one interval, as the service sends them."""
    runs: list[list[float]] = []
    for hour in range(hours):
        value = round(curve(hour) if callable(curve) else curve, 4)
        if runs and runs[-1][2] == value:
            runs[-1][1] += 1
        else:
            runs.append([hour, 1, value])
    return {
        "uom": uom,
        "values": [
            {"validTime": f"{stamp(first + timedelta(hours=at))}/{lasting(int(count))}", "value": value}
            for at, count, value in runs
        ],
    }


def grid(
    cell: str,
    updated_at: datetime,
    first: datetime,
    *,
    wind_kt: Curve,
    gust_kt: Curve,
    sea_m: Curve,
    period_s: float = 4,
    thunder_pct: Curve = 5,
    hazards: Sequence[tuple[datetime, int, str, str]] = (),
) -> bytes:
    """``/gridpoints/{cell}``. ``hazards``: begin, hours, phenomenon, significance."""
    lat, lon = CENTRES[cell]
    x, y = cell.split("/")[1].split(",")
    ring = [(-0.0125, -0.0125), (0.0125, -0.0125), (0.0125, 0.0125), (-0.0125, 0.0125), (-0.0125, -0.0125)]
    told = [
        {
            "validTime": f"{stamp(at)}/{lasting(hours)}",
            "value": [{"phenomenon": phenomenon, "significance": significance, "event_number": 61}],
        }
        for at, hours, phenomenon, significance in hazards
    ]
    rain = {"coverage": "slight_chance", "weather": "thunderstorms", "intensity": "light", "attributes": []}
    return json.dumps(
        {
            "type": "Feature",
            "geometry": {
                "type": "Polygon",
                "coordinates": [[[round(lon + dx, 5), round(lat + dy, 5)] for dx, dy in ring]],
            },
            "properties": {
                "@type": "wx:Gridpoint",
                "updateTime": stamp(updated_at),
                "validTimes": f"{stamp(first)}/{lasting(GRID_HOURS)}",
                "gridId": cell.split("/")[0],
                "gridX": int(x),
                "gridY": int(y),
                "windSpeed": layer(first, "wmoUnit:km_h-1", times(1.852, wind_kt)),
                "windGust": layer(first, "wmoUnit:km_h-1", times(1.852, gust_kt)),
                "waveHeight": layer(first, "wmoUnit:m", sea_m),
                "wavePeriod": layer(first, "nwsUnit:s", period_s),
                "visibility": layer(first, "wmoUnit:m", 8 * 1852.0),
                "probabilityOfThunder": layer(first, "wmoUnit:percent", thunder_pct),
                "weather": {
                    "values": [{"validTime": f"{stamp(first)}/{lasting(GRID_HOURS)}", "value": [rain]}],
                },
                "hazards": {"values": told},
            },
        }
    ).encode()


# ---- Warnings ---------------------------------------------------------------------------------------------


def warning(
    key: str,
    *,
    sent_at: datetime,
    onset_at: datetime,
    ends_at: datetime | None,
    expires_at: datetime | None = None,
    event: str = "Small Craft Advisory",
    code: str = "SC.Y",
    number: int = 61,
    action: str = "NEW",
    message_type: str = "Alert",
    severity: str = "Minor",
    zones: Sequence[str] = (ZONE,),
    references: Sequence[str] = (),
    status: str = "Actual",
) -> dict[str, object]:
    """One feature of a list of warnings. ``code`` "": without VTEC."""

    def vtec_time(at: datetime | None) -> str:
        return "000000T0000Z" if at is None else f"{at:%y%m%dT%H%MZ}"

    begins = vtec_time(None if onset_at <= sent_at else onset_at)
    vtec = f"/O.{action}.K{OFFICE}.{code}.{number:04d}.{begins}-{vtec_time(ends_at)}/"
    return {
        "id": f"https://api.weather.gov/alerts/{key}",
        "type": "Feature",
        "geometry": None,
        "properties": {
            "@id": f"https://api.weather.gov/alerts/{key}",
            "id": key,
            "areaDesc": "an invented bay",
            "geocode": {"SAME": ["077730"], "UGC": list(zones)},
            "affectedZones": [f"https://api.weather.gov/zones/forecast/{zone}" for zone in zones],
            "references": [
                {"identifier": one, "sender": "invented", "sent": stamp(sent_at)} for one in references
            ],
            "sent": stamp(sent_at),
            "effective": stamp(sent_at),
            "onset": stamp(onset_at),
            "expires": stamp(expires_at or ends_at or sent_at + timedelta(hours=8)),
            "ends": None if ends_at is None else stamp(ends_at),
            "status": status,
            "messageType": message_type,
            "severity": severity,
            "certainty": "Likely",
            "urgency": "Expected",
            "event": event,
            "senderName": "NWS Tallahassee FL",
            "headline": f"{event} (invented data)",
            "description": "INVENTED DATA",
            "instruction": None,
            "parameters": {"VTEC": [vtec]} if code else {},
        },
    }


def alerts(
    updated_at: datetime, *warnings: Mapping[str, object], next_url: str | None = None, zone: str = ZONE
) -> bytes:
    """``/alerts/active?zone=``."""
    said = {
        "type": "FeatureCollection",
        "features": list(warnings),
        "title": f"Current watches, warnings, and advisories for an invented bay ({zone})",
        "updated": stamp(updated_at),
    }
    return json.dumps(said | ({"pagination": {"next": next_url}} if next_url else {})).encode()


# ---- The shore station ------------------------------------------------------------------------------------

STATION_HEAD = (
    "#YY  MM DD hh mm WDIR WSPD GST  WVHT   DPD   APD MWD   PRES  ATMP  WTMP  DEWP  VIS PTDY  TIDE\n"
    "#yr  mo dy hr mn degT m/s  m/s     m   sec   sec degT   hPa  degC  degC  degC  nmi  hPa    ft\n"
)


def station(rows: Sequence[tuple[datetime, float | None, float | None, float | None]]) -> bytes:
    """``/data/realtime2/``. Rows, newest first: at, wind and gust in m/s, sea in m; None is ``MM``."""

    def cell(value: float | None) -> str:
        return "  MM" if value is None else f"{value:4.1f}"

    return (
        STATION_HEAD
        + "".join(
            f"{at:%Y %m %d %H %M} 140 {cell(wind)} {cell(gust)} {cell(sea)}     4    MM  MM 1018.0  18.0  17.0"
            "    MM   MM   MM    MM\n"
            for at, wind, gust, sea in rows
        )
    ).encode()


# ---- The whole --------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class World:
    """All that one call is made from."""

    settings: Settings
    replies: Mapping[ReplyKey, tuple[bytes, ...]] = field(repr=False)
    now: datetime = NOW
    entries: tuple[LogEntry, ...] = field(default=(), repr=False)
    seen: tuple[object, ...] = field(default=(), repr=False)
    clock_suspect: bool = False
    fetched_at: datetime | None = None

    def with_reply(self, key: ReplyKey, *bodies: bytes) -> World:
        """No body: the reply is gone."""
        left = {k: v for k, v in self.replies.items() if k != key}
        return replace(self, replies={**left, key: bodies} if bodies else left)

    def telling(self, detail: Detail, string: str | None = None, *, days_ago: float = 0.5) -> World:
        """The log goes on with one entry more."""
        at, name = NOW - timedelta(days=days_ago), f"{detail.kind} {len(self.entries)}"
        return replace(self, entries=(*self.entries, LogEntry(name, name, at, at, "cli", detail, string)))

    def on_hand(self) -> OnHand:
        fetched_at = self.fetched_at or self.now
        return OnHand(
            {
                (kind, key): [RawReply(kind, key, "", 200, MEDIA[kind], body, fetched_at) for body in bodies]
                for (kind, key), bodies in self.replies.items()
            },
            seen=self.seen,  # type: ignore[arg-type]
        )

    def call(self, *, day: date | None = None) -> Morning:
        return make_call(
            self.settings, self.on_hand(), self.entries, self.now, day=day, clock_suspect=self.clock_suspect
        )


def world(
    *,
    settings: Settings | None = None,
    now: datetime = NOW,
    text_wind_kt: int = 10,
    text_sea_ft: int = 2,
    wind_kt: Curve = 7,
    gust_kt: Curve = 11,
    sea_m: Curve = 0.4,
    more: str = "",
    headlines: Sequence[str] = (),
    warnings: Sequence[Mapping[str, object]] = (),
    hazards: Sequence[tuple[datetime, int, str, str]] = (),
    measured: tuple[float, float, float] = (3.5, 5.5, 0.4),
    periods: Sequence[tuple[str, str]] | None = None,
    thunder_pct: Curve = 5,
    soaked_days: float = 8,
) -> World:
    """A calm morning, text an hour old, grids twenty minutes; what is given differs from it."""
    settings = settings or settings_from()
    issued_at = now - timedelta(hours=1)
    first = now.replace(minute=0) - timedelta(hours=1)
    told = periods or [(label, said(text_wind_kt, text_sea_ft, more=more)) for label in labels_for(issued_at)]
    calm = [(label, said(5, 1)) for label, _ in told]
    quiet = {"wind_kt": wind_kt, "gust_kt": gust_kt, "sea_m": sea_m, "thunder_pct": thunder_pct}
    replies: dict[ReplyKey, tuple[bytes, ...]] = {
        TEXT: (zone_text(told, issued_at, headlines=headlines, offshore=calm),),
        INNER_GRID: (grid(INNER, now - timedelta(minutes=20), first, hazards=hazards, **quiet),),
        OUTER_GRID: (grid(OUTER, now - timedelta(minutes=20), first, hazards=hazards, **quiet),),
        WARNINGS: (alerts(now - timedelta(minutes=5), *warnings),),
    }
    if any(area.station for area in settings.areas):
        wind, gust, sea = measured
        rows = [(now - timedelta(minutes=10 + 10 * n), wind, gust, sea if n % 6 == 2 else None) for n in range(40)]
        replies[STATION_REPORT] = (station(rows),)
    return World(settings, replies, now, set_days_ago(settings, soaked_days, now))


def with_pulls(one: World) -> World:
    """Set a month ago, then pulled every week with what was caught; the last time eight days ago."""
    one = replace(one, entries=set_days_ago(one.settings, 29))
    for days_ago, claws in ((22, 61), (15, 48), (8, 55)):
        for string in one.settings.strings:
            caught = Pulled(legal_claws=claws, lb=claws * 0.22, bait="mullet heads", bait_boxes=0.5)
            one = one.telling(caught, string.name, days_ago=days_ago)
    return one


def edited(body: bytes, change: Callable[[dict[str, object]], object]) -> bytes:
    """A JSON reply after ``change`` had its hands on it."""
    said = json.loads(body)
    change(said)
    return json.dumps(said).encode()
