"""What the skipper settled: ``config/boat.toml``, its fishery file, and secrets from outside of both.

Everything is checked whole before anything is used, and all faults are told at once. Secrets never stand in the
files and never show in a ``repr`` or a fault.
"""

from __future__ import annotations

import hashlib
import ipaddress
import re
import stat
import zoneinfo
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import (
    AfterValidator,
    Field,
    SecretStr,
    TypeAdapter,
    ValidationError,
)

from soakbell.errors import Fault, SettingsError
from soakbell.fishery.rules import Fishery
from soakbell.gear.strings import Mark, TrapString
from soakbell.planning import trips
from soakbell.planning.distances import distance_nmi
from soakbell.sea.areas import ForecastArea
from soakbell.sea.limits import Limits
from soakbell.sea.sources import SourceKind
from soakbell.settings_reading import (
    Address,
    LocalTime,
    Name,
    Reader,
    Table,
    as_json,
    doubled,
    item_key,
    mail_address,
    nearest,
    no_doubles,
    plain_name,
    read_file,
    shown,
    toml_of,
)
from soakbell.units import m_from_ft

FARTHEST_NMI = 60.0
"""Marks farther than this from the harbor are taken for slips of the pen. Common practice, no source."""

LONGEST_STRING_NMI = 20.0

MARINE_ZONES = ("AM", "AN", "GM", "LC", "LE", "LH", "LM", "LO", "LS", "PH", "PK", "PM", "PS", "PZ", "SL")
"""First letters of the coastal waters zones (NWS Instruction 10-302, from memory)."""

SHORE_EVENTS = (
    "Air Quality Alert",
    "Beach Hazards Statement",
    "Coastal Flood Advisory",
    "Coastal Flood Statement",
    "Frost Advisory",
    "Heat Advisory",
    "Hydrologic Outlook",
    "Rip Current Statement",
)
"""The only events that may be told without barring: they speak of the shore. All others always bar."""

CHOP_WORDS = (
    "smooth",
    "slightly choppy",
    "a light chop",
    "a moderate chop",
    "chop",
    "choppy",
    "very choppy",
    "a heavy chop",
    "rough",
    "very rough",
    "extremely rough",
)
"""The forecast's words for sheltered waters, lightest first."""

_SECRET_CHARACTERS = 1000
_ZONE_MOST_OFF_DEG = 60.0
_MOST_DEGREES = 100_000.0

# ---- The words of the file -------------------------------------------------------------------------------


def _part_of_zone(text: str) -> str:
    if not any(char.isalpha() for char in text):
        raise ValueError("a name with letters in it; without one, leave it out: then the worst part counts")
    return plain_name(text)


def _zone_name(text: str) -> str:
    if "/" not in text or text.startswith("Etc/") or text not in zoneinfo.available_timezones():
        raise ValueError(
            'an IANA zone name, as in "America/New_York"; abbreviations such as EST have no summer time'
        )
    return text


def _marine_zone(text: str) -> str:
    if not re.fullmatch(r"[A-Z]{2}Z[0-9]{3}", text) or text[:2] not in MARINE_ZONES:
        raise ValueError('a coastal waters zone, as in "GMZ730" (two letters, Z, three digits)')
    return text


def _host(text: str) -> str:
    labels = text.split(".")
    plain = len(text) <= 253 and all(
        re.fullmatch(r"[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?", x) for x in labels
    )
    if not plain and not _is_ip(text):
        raise ValueError("the name of the mail server, as in mail.example.org")
    return text


def _base_url(text: str) -> str:
    parts = _split_url(text)
    if parts is None or parts.scheme not in ("https", "http") or parts.query or parts.fragment:
        raise ValueError("an https address without user, query or fragment")
    if parts.scheme == "http" and not is_loopback(parts.hostname or ""):
        raise ValueError("an https address; plain http is for this machine only")
    return text.rstrip("/")


def _contact(text: str) -> str:
    if "@" in text:
        return mail_address(text)
    parts = _split_url(text)
    if parts is None or parts.scheme != "https":
        raise ValueError("your mail address or an https page; the weather service asks for one")
    return text


def _split_url(text: str) -> Any:
    """The parts of a plain ASCII address with a host and no user in it, else None."""
    if not text.isascii() or not text.isprintable() or " " in text:
        return None
    try:
        parts = urlsplit(text)
        unusable = not parts.hostname or parts.username is not None or parts.port == 0
    except ValueError:
        return None
    return None if unusable else parts


def _shore_event(text: str) -> str:
    if text not in SHORE_EVENTS:
        raise ValueError(f"an event of the shore only: {', '.join(SHORE_EVENTS)}; every other event bars")
    return text


def _rising(heights: dict[str, float]) -> dict[str, float]:
    unknown = [word for word in heights if word not in CHOP_WORDS]
    if unknown:
        raise ValueError(f"not {unknown[0]!r} but one of {', '.join(CHOP_WORDS)}")
    given = [word for word in CHOP_WORDS if word in heights]
    for lighter, heavier in pairwise(given):
        if heights[heavier] < heights[lighter]:
            raise ValueError(f"no less for {heavier!r} than for {lighter!r}")
    return heights


def _with_wind(given: tuple[str, ...]) -> tuple[str, ...]:
    if "wind_kt" not in given:
        raise ValueError('"wind_kt" among them: no call is made without it')
    return given


def _is_ip(text: str) -> bool:
    try:
        ipaddress.ip_address(text)
    except ValueError:
        return False
    return True


def is_loopback(host: str) -> bool:
    return host == "localhost" or (_is_ip(host) and ipaddress.ip_address(host).is_loopback)


BaseUrl = Annotated[str, AfterValidator(_base_url)]
Degrees = Annotated[float, Field(ge=-_MOST_DEGREES, le=_MOST_DEGREES)]
"""Whether it is a place near the harbor is checked with the harbor at hand, to say what was meant."""
Measured = Literal["wind_kt", "gust_kt", "sea_m", "visibility_nm"]
Quantity = Literal["wind_kt", "gust_kt", "wind_from_deg", "sea_m", "period_s", "thunder_pct", "visibility_nm"]


_WIND = "a wind in knots, more than 0 and below 34 (gale)"
_GUST = "a gust in knots, more than 0 and below 48 (storm)"
_SEA = "a significant height in feet, more than 0 and at most 12"
_STEEP = "height over wavelength, more than 0 and at most 0.142 (where waves break)"
_THUNDER = "a chance of thunder in percent, 0 to 100"
_SIGHT = "the least visibility in nautical miles, more than 0 and at most 10"


class BoatLimits(Table):
    """Highest values the skipper goes out in; ``visibility_nm`` is the lowest."""

    wind_kt: float = Field(gt=0, lt=34, description=_WIND)
    gust_kt: float = Field(gt=0, lt=48, description=_GUST)
    sea_ft: float = Field(gt=0, le=12, description=_SEA)
    steepness: float | None = Field(default=None, gt=0, le=0.142, description=_STEEP)
    thunder_pct: float | None = Field(default=None, ge=0, le=100, description=_THUNDER)
    visibility_nm: float | None = Field(default=None, gt=0, le=10, description=_SIGHT)

    def as_limits(self) -> Limits:
        return Limits(
            wind_kt=self.wind_kt,
            gust_kt=self.gust_kt,
            sea_m=m_from_ft(self.sea_ft),
            steepness=self.steepness,
            thunder_pct=self.thunder_pct,
            visibility_nm=self.visibility_nm,
        )


class TighterLimits(Table):
    """Limits that only tighten the boat's own; what isn't given stays as it is."""

    wind_kt: float | None = Field(default=None, gt=0, lt=34, description=_WIND)
    gust_kt: float | None = Field(default=None, gt=0, lt=48, description=_GUST)
    sea_ft: float | None = Field(default=None, gt=0, le=12, description=_SEA)
    steepness: float | None = Field(default=None, gt=0, le=0.142, description=_STEEP)
    thunder_pct: float | None = Field(default=None, ge=0, le=100, description=_THUNDER)
    visibility_nm: float | None = Field(default=None, gt=0, le=10, description=_SIGHT)

    def tightening(self, limits: Limits) -> Limits:
        own = Limits(
            wind_kt=limits.wind_kt if self.wind_kt is None else self.wind_kt,
            gust_kt=self.gust_kt,
            sea_m=limits.sea_m if self.sea_ft is None else m_from_ft(self.sea_ft),
            steepness=self.steepness,
            thunder_pct=self.thunder_pct,
            visibility_nm=self.visibility_nm,
        )
        return limits.tightened_by(own)


class Boat(Table):
    """``haul_min_per_trap``: hauling, clearing, baiting and setting back, with the usual crew;
    ``stack_min_per_trap`` besides it where traps come home. ``deck_traps``: the most that one trip brings home."""

    name: Name = Field(description="the boat's name")
    cruise_kt: float = Field(gt=0, le=40, description="cruising speed in knots, more than 0 and at most 40")
    haul_min_per_trap: float = Field(gt=0, le=60, description="minutes a trap, more than 0 and at most 60")
    trip_margin_min: float = Field(ge=0, le=240, description="minutes added to each trip, 0 to 240")
    deck_traps: int | None = Field(default=None, ge=1, le=10_000, description="traps, 1 to 10000, or leave it out")
    stack_min_per_trap: float = Field(
        default=trips.STACK_MIN_PER_TRAP, ge=0, le=60, description="minutes a trap, 0 to 60"
    )
    limits: BoatLimits = Field(description="a table [boat.limits]")
    limits_young_crew: TighterLimits | None = Field(default=None, description="a table [boat.limits_young_crew]")

    def as_boat(self) -> trips.Boat:
        return trips.Boat(
            name=self.name,
            cruise_kt=self.cruise_kt,
            haul_min_per_trap=self.haul_min_per_trap,
            trip_margin_min=self.trip_margin_min,
            stack_min_per_trap=self.stack_min_per_trap,
            deck_traps=self.deck_traps,
        )


_LATITUDE = "latitude in decimal degrees, south negative, -90 to 90"
_LONGITUDE = "longitude in decimal degrees, west negative, -180 to 180"


class Harbor(Table):
    name: Name = Field(description="the harbor's name")
    lat_deg: float = Field(ge=-90, le=90, description=_LATITUDE)
    lon_deg: float = Field(ge=-180, le=180, description=_LONGITUDE)
    time_zone: Annotated[str, AfterValidator(_zone_name)] = Field(
        description='an IANA zone name, as in "America/New_York"'
    )
    area: Name = Field(description="the name of one of the [[areas]]")

    @property
    def mark(self) -> Mark:
        return Mark(self.lat_deg, self.lon_deg)


class Area(Table):
    name: Name = Field(description="a name for the area")
    zone: Annotated[str, AfterValidator(_marine_zone)] = Field(description='a zone, as in "GMZ730"')
    office: str = Field(pattern=r"^[A-Z]{3}$", description='the forecast office in three capitals, as in "TAE"')
    lat_deg: float = Field(ge=-90, le=90, description=_LATITUDE)
    lon_deg: float = Field(ge=-180, le=180, description=_LONGITUDE)
    grid: str | None = Field(
        default=None,
        pattern=r"^[A-Z]{3}/[0-9]{1,3},[0-9]{1,3}$",
        description='a grid cell, as in "TAE/58,65", or leave it out',
    )
    grid_gives: Annotated[tuple[Quantity, ...], AfterValidator(no_doubles), AfterValidator(_with_wind)] = Field(
        default=("wind_kt", "gust_kt", "sea_m"),
        description='quantities the cell gives, as in ["wind_kt", "gust_kt", "sea_m"]',
    )
    sub_area: Annotated[str, AfterValidator(_part_of_zone)] | None = Field(
        default=None, description="the part of the zone, in the forecast's own words"
    )
    protected_waters: bool = Field(default=False, description="true or false")
    station: str | None = Field(
        default=None, pattern=r"^[A-Z0-9]{4,7}$", description='a station id in capitals and digits, as in "42036"'
    )
    station_gives: Annotated[tuple[Measured, ...], AfterValidator(no_doubles)] = Field(
        default=(), min_length=1, description='quantities it measures, as in ["wind_kt", "sea_m"]'
    )

    def as_area(self) -> ForecastArea:
        return ForecastArea(**self.model_dump())


_MARK = "[latitude, longitude] in decimal degrees, west and south negative"


class String(Table):
    name: Name = Field(description="the string's name")
    start: tuple[Degrees, Degrees] = Field(description=f"the start mark as {_MARK}")
    end: tuple[Degrees, Degrees] = Field(description=f"the end mark as {_MARK}")
    traps: int = Field(ge=1, le=1000, description="a number of traps, 1 to 1000")
    area: Name = Field(description="the name of one of the [[areas]]")
    depth_m: float = Field(gt=0, le=300, description="depth in metres, more than 0 and at most 300")
    soak_floor_days: float = Field(gt=0, le=60, description="days, more than 0 and at most 60")
    soak_ceiling_days: float = Field(gt=0, le=90, description="days, more than the floor and at most 90")
    limits: TighterLimits | None = Field(default=None, description="a table [strings.limits] under its string")

    def as_trap_string(self) -> TrapString:
        return TrapString(
            name=self.name,
            start=Mark(*self.start),
            end=Mark(*self.end),
            traps=self.traps,
            area=self.area,
            depth_m=self.depth_m,
            soak_floor_h=self.soak_floor_days * 24,
            soak_ceiling_h=self.soak_ceiling_days * 24,
        )


class Crew(Table):
    """``hands`` are the persons aboard: a law that sets traps a person holds for all strings together."""

    hands: int = Field(ge=1, le=20, description="persons aboard, 1 to 20")
    young_aboard: bool = Field(description="true or false")


class Mail(Table):
    from_address: Address = Field(description="the address letters are sent from")
    to: Annotated[tuple[Address, ...], AfterValidator(no_doubles)] = Field(
        min_length=1, max_length=20, description="a list of 1 to 20 addresses"
    )
    host: Annotated[str, AfterValidator(_host)] = Field(description="the name of the mail server")
    port: int = Field(default=587, ge=1, le=65535, description="a port, 1 to 65535")
    security: Literal["starttls", "tls", "none"] = Field(
        default="starttls", description='"starttls", "tls", or "none" for this machine only'
    )
    username: Annotated[str, AfterValidator(plain_name)] | None = Field(default=None, description="the user name")


class MaxAgeH(Table):
    """Past this age a source counts as missing. Reckoned at the planned hour of leaving; that of observations at
    the moment of the call, for which alone they are a check."""

    zone_text: float = Field(default=12, gt=0, le=24, description="hours, more than 0 and at most 24")
    grid: float = Field(default=12, gt=0, le=24, description="hours, more than 0 and at most 24")
    warnings: float = Field(default=6, gt=0, le=12, description="hours, more than 0 and at most 12")
    observations: float = Field(default=3, gt=0, le=6, description="hours, more than 0 and at most 6")


class LargeGap(Table):
    """Sources that differ by more than this contradict each other."""

    wind_kt: float = Field(default=10, gt=0, le=20, description="knots, more than 0 and at most 20")
    gust_kt: float = Field(default=15, gt=0, le=30, description="knots, more than 0 and at most 30")
    sea_m: float = Field(default=1.0, gt=0, le=2, description="metres, more than 0 and at most 2")


ChopHeight = Annotated[float, Field(gt=0, le=6)]


class Sources(Table):
    contact: Annotated[str, AfterValidator(_contact)] = Field(description="your mail address or an https page")
    weather_api: BaseUrl = Field(default="https://api.weather.gov", description="an https address")
    buoys: BaseUrl = Field(default="https://www.ndbc.noaa.gov", description="an https address")
    warnings_asked_min: int = Field(default=60, ge=15, le=180, description="minutes, 15 to 180")
    """How old a list of warnings, by its own word, may be at the letter and at each look after it."""
    max_age_h: MaxAgeH = Field(default=MaxAgeH(), description="a table [sources.max_age_h]")
    large_gap: LargeGap = Field(default=LargeGap(), description="a table [sources.large_gap]")
    chop_m: Annotated[dict[str, ChopHeight], AfterValidator(_rising)] = Field(
        default_factory=dict, description="the forecast's words and a height in metres, more than 0 and at most 6"
    )
    not_a_bar: tuple[Annotated[str, AfterValidator(_shore_event)], ...] = Field(
        default=(), description="a list of event names"
    )

    def oldest_h(self, kind: SourceKind) -> float:
        """The most hours a source of this kind may be old at the planned hour of leaving."""
        ages = self.max_age_h
        return {
            SourceKind.ZONE_TEXT: ages.zone_text,
            SourceKind.GRID: ages.grid,
            SourceKind.WARNINGS: ages.warnings,
            SourceKind.OBSERVATIONS: ages.observations,
        }[kind]


class Letters(Table):
    """Local times of the harbor. Past ``useless_after`` a morning letter is dropped with a record, and past
    ``eve_useless_after`` that evening an eve letter. From ``quiet_from`` to ``quiet_to`` no bell rings."""

    morning: LocalTime = Field(default=time(4, 30), description='a local time, as in "04:30"')
    useless_after: LocalTime = Field(
        default=time(11, 0), description="a local time later than the morning letter's"
    )
    eve: LocalTime = Field(default=time(18, 0), description='a local time, as in "18:00"')
    eve_useless_after: LocalTime = Field(
        default=time(23, 0), description="a local time later than the eve letter's, before midnight"
    )
    watch_every_min: int = Field(default=15, ge=5, le=60, description="minutes, 5 to 60")
    bells_every_min: int = Field(default=15, ge=5, le=240, description="minutes, 5 to 240")
    quiet_from: LocalTime = Field(default=time(20, 0), description='a local time, as in "20:00"')
    quiet_to: LocalTime = Field(default=time(6, 0), description='a local time, as in "06:00"')
    forecast_break_h: float = Field(default=2.0, ge=0, le=24, description="hours, 0 to 24")


_FILE_NAME = r"^[A-Za-z0-9][A-Za-z0-9_-]*\.toml$"


class FisheryChoice(Table):
    """``file`` lies in the folder ``fisheries`` beside the settings."""

    file: str = Field(
        pattern=_FILE_NAME,
        description='the bare name of a file in the folder fisheries, as in "florida-stone-crab.toml"',
    )
    sector: str = Field(description="one of the fishery's sectors")
    region: str | None = Field(default=None, description="one of the fishery's regions, or leave it out")


def _file_beside(name: str) -> Any:
    hint = f'the bare name of a file beside the settings, as in "{name}"'
    return Field(default=name, pattern=_FILE_NAME, description=hint)


class GearFile(Table):
    """``file`` lies beside the settings and is read apart, by ``gear_settings``: no fault in it stops a call."""

    file: str = _file_beside("gear.toml")


class PlanFile(Table):
    """``file`` lies beside the settings and is read apart, by ``plan_settings``: no fault in it stops a call."""

    file: str = _file_beside("plan.toml")


class PageFile(Table):
    """``file`` lies beside the settings and is read apart, by ``page_settings``: no fault in it stops a call."""

    file: str = _file_beside("page.toml")


class Store(Table):
    """``database`` is a file; a relative path counts from the settings' own folder."""

    database: str | None = Field(default=None, min_length=1, max_length=500, description="a path")
    keep_replies_days: int = Field(default=400, ge=7, le=4000, description="days, 7 to 4000")


class Service(Table):
    health_port: int = Field(
        default=8461, ge=0, le=65535, description="a port of this machine, 0 for any free one"
    )


# ---- What the rest of the house sees ---------------------------------------------------------------------


@dataclass(frozen=True)
class Settings:
    """Everything that was settled, checked. Only ``load_settings`` makes one.

    ``sha256`` and ``fishery_sha256`` are those of the two files as they were read, for the record of a call.
    ``gear_file`` is what the skipper settled about his gear, ``plan_file`` about the week's plan, ``page_file``
    about the phone page; None where it isn't set up.
    """

    path: Path
    sha256: str
    fishery_sha256: str
    boat: Boat
    harbor: Harbor
    areas: tuple[ForecastArea, ...]
    strings: tuple[String, ...]
    crew: Crew
    mail: Mail
    sources: Sources
    letters: Letters
    service: Service
    fishery: Fishery = field(repr=False)
    sector: str
    region: str | None
    database: Path
    keep_replies_days: int
    gear_file: Path | None
    plan_file: Path | None
    page_file: Path | None
    mail_password: SecretStr | None
    heartbeat_url: SecretStr | None

    @property
    def trap_strings(self) -> tuple[TrapString, ...]:
        """The strings in the file's order, soaks in hours."""
        return tuple(string.as_trap_string() for string in self.strings)

    def area(self, name: str) -> ForecastArea:
        """The area of that name.

        Raises:
            KeyError: no area has it.
        """
        for area in self.areas:
            if area.name == name:
                return area
        raise KeyError(name)

    def limits_for(self, string_name: str | None) -> Limits:
        """The boat's limits, tightened for young crew aboard and for the string; None is the run and the harbor.

        Raises:
            KeyError: no string has that name.
        """
        limits = self.boat.limits.as_limits()
        tighter: list[TighterLimits | None] = []
        if self.crew.young_aboard:
            tighter.append(self.boat.limits_young_crew)
        if string_name is not None:
            tighter.append({string.name: string.limits for string in self.strings}[string_name])
        for own in tighter:
            if own is not None:
                limits = own.tightening(limits)
        return limits


def load_settings(path: Path, env: Mapping[str, str], *, with_secrets: bool = True) -> Settings:
    """Read and check the settings, the fishery file they name, and the secrets.

    Secrets come from systemd's credentials folder, from a file that only its owner may read, or from the
    environment, in this order of advice; one given twice is a fault.

    Args:
        with_secrets: False leaves them alone and asks for none, for all that sends nothing.

    Raises:
        SettingsError: carries every fault found.
    """
    faults: list[Fault] = []
    raw = read_file(path, faults)
    data = None if raw is None else toml_of(path, raw, faults)
    if raw is None or data is None:
        raise SettingsError(faults)
    reader = Reader(str(path), data, faults)
    boat = reader.table("boat", Boat)
    harbor = reader.table("harbor", Harbor)
    areas = reader.tables("areas", Area)
    strings = reader.tables("strings", String)
    crew = reader.table("crew", Crew)
    mail = reader.table("mail", Mail)
    sources = reader.table("sources", Sources)
    letters = reader.table("letters", Letters, may_lack=True)
    choice = reader.table("fishery", FisheryChoice)
    gear = reader.table("gear", GearFile) if "gear" in data else None
    plan = reader.table("plan", PlanFile) if "plan" in data else None
    page = reader.table("page", PageFile) if "page" in data else None
    store = reader.table("store", Store, may_lack=True)
    service = reader.table("service", Service, may_lack=True)
    reader.unknown_tables("gear", "plan", "page")

    faults += _fit_in_place(str(path), data, harbor)
    faults += _stations_measure(str(path), areas)
    faults += _fit_together(str(path), boat, strings, crew, mail, letters)
    fishery, fishery_sha256 = (None, "") if choice is None else _fishery_of(choice, path, faults)
    faults += _traps_allowed(str(path), fishery, choice, strings, crew)
    password = heartbeat = None
    if with_secrets:
        password = _secret("mail_password", env, faults)
        heartbeat = _secret("heartbeat_url", env, faults)
        faults += _secrets_fit(str(path), mail, password, heartbeat, env)
    database = None if store is None else _database(store, path, env, faults)

    if (
        faults
        or boat is None
        or harbor is None
        or crew is None
        or mail is None
        or sources is None
        or letters is None
        or choice is None
        or service is None
        or store is None
        or database is None
        or fishery is None
    ):
        raise SettingsError(faults)
    return Settings(
        path=path,
        sha256=hashlib.sha256(raw).hexdigest(),
        fishery_sha256=fishery_sha256,
        boat=boat,
        harbor=harbor,
        areas=tuple(area.as_area() for area in areas),
        strings=tuple(strings),
        crew=crew,
        mail=mail,
        sources=sources,
        letters=letters,
        service=service,
        fishery=fishery,
        sector=choice.sector,
        region=choice.region,
        database=database,
        keep_replies_days=store.keep_replies_days,
        gear_file=None if gear is None else path.parent / gear.file,
        plan_file=None if plan is None else path.parent / plan.file,
        page_file=None if page is None else path.parent / page.file,
        mail_password=password,
        heartbeat_url=heartbeat,
    )


def load_fishery(path: Path) -> Fishery:
    """Read one fishery file.

    Raises:
        SettingsError: carries every fault found.
    """
    return _fishery_in(path)[0]


def _fishery_in(path: Path) -> tuple[Fishery, str]:
    """The rules of a file, and its hash."""
    faults: list[Fault] = []
    raw = read_file(path, faults)
    data = None if raw is None else toml_of(path, raw, faults)
    if raw is not None and data is not None:
        try:
            fishery = TypeAdapter(Fishery).validate_json(as_json(data), strict=True)
            return fishery, hashlib.sha256(raw).hexdigest()
        except ValidationError as error:
            faults += [_rule_fault(str(path), detail) for detail in error.errors(include_url=False)]
    raise SettingsError(faults)


def _rule_fault(where: str, error: Mapping[str, Any]) -> Fault:
    key = ".".join(str(part) for part in error["loc"]) or "file"
    if error["type"] == "unexpected_keyword_argument":
        return Fault(
            where, key, "a key that isn't known", "a key as in the fishery files that come with the service"
        )
    if error["type"] == "missing":
        return Fault(where, key, "nothing", "a value")
    if error["type"] == "value_error":
        return Fault(where, key, str(error["ctx"]["error"]), "rules that agree with each other")
    return Fault(where, key, shown(error["input"]), str(error["msg"]).removeprefix("Input should be "))


# ---- What must fit together ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Placed:
    """What can be read of a table for the checks of fit, even where the rest of it has faults."""

    key: str
    name: str | None
    area: str | None
    marks: Mapping[str, tuple[float, float]]


def _placed(key: str, found: object) -> _Placed:
    table = found if isinstance(found, dict) else {}
    pairs = {
        ".start": table.get("start"),
        ".end": table.get("end"),
        "": [table.get("lat_deg"), table.get("lon_deg")],
    }
    return _Placed(
        key=key,
        name=table["name"] if isinstance(table.get("name"), str) else None,
        area=table["area"] if isinstance(table.get("area"), str) else None,
        marks={
            end: (float(pair[0]), float(pair[1]))
            for end, pair in pairs.items()
            if isinstance(pair, list) and len(pair) == 2 and all(_is_degrees(number) for number in pair)
        },
    )


def _is_degrees(value: object) -> bool:
    """A number small enough to be checked as a place; past it the table's own check has refused it."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) <= _MOST_DEGREES


def _all_placed(data: Mapping[str, Any], key: str) -> list[_Placed]:
    found = data.get(key)
    items = [item for item in found if isinstance(item, dict)] if isinstance(found, list) else []
    return [_placed(item_key(key, i, item), item) for i, item in enumerate(items)]


def _fit_in_place(where: str, data: Mapping[str, Any], harbor: Harbor | None) -> Iterator[Fault]:
    """Names, areas and marks, as far as they can be read."""
    home = _placed("harbor", data.get("harbor"))
    areas, strings = _all_placed(data, "areas"), _all_placed(data, "strings")
    for tables in (areas, strings):
        yield from doubled(where, [(table.key, table.name) for table in tables])
    known = [area.name for area in areas if area.name is not None]
    for table in (home, *strings):
        if known and table.area is not None and table.area not in known:
            yield Fault(where, f"{table.key}.area", repr(table.area), nearest(table.area, known))
    if harbor is not None and _degrees_off_zone(harbor) > _ZONE_MOST_OFF_DEG:
        write = f"a longitude that fits {harbor.time_zone}; west is negative"
        yield Fault(where, "harbor.lon_deg", f"{harbor.lon_deg:g}", write)
    elif "" in home.marks and _is_place(*home.marks[""]):
        for table in (*areas, *strings):
            yield from _near(where, table, home.marks[""])


def _degrees_off_zone(harbor: Harbor) -> float:
    """How far the harbor's longitude lies from where its zone's standard time would put it, degrees."""
    zone = zoneinfo.ZoneInfo(harbor.time_zone)
    offsets = [datetime(2026, month, 1, tzinfo=zone).utcoffset() or timedelta() for month in (1, 7)]
    standard_h = min(offsets).total_seconds() / 3600
    return abs((harbor.lon_deg - 15 * standard_h + 180) % 360 - 180)


def _near(where: str, table: _Placed, home: tuple[float, float]) -> Iterator[Fault]:
    faults = [
        fault for end, mark in table.marks.items() for fault in _mark_near(where, table.key + end, mark, home)
    ]
    yield from faults
    start, end = table.marks.get(".start"), table.marks.get(".end")
    if not faults and start is not None and end is not None and (length := _nmi(start, end)) > LONGEST_STRING_NMI:
        found = f"marks {length:.1f} nmi apart"
        yield Fault(where, f"{table.key}.end", found, f"marks within {LONGEST_STRING_NMI:g} nmi of each other")


def _mark_near(where: str, key: str, mark: tuple[float, float], home: tuple[float, float]) -> Iterator[Fault]:
    lat, lon = mark
    found = f"[{lat:g}, {lon:g}]"
    if _is_place(lat, lon):
        distance = _nmi(mark, home)
        if distance <= FARTHEST_NMI:
            return
        found += f", {distance:,.0f} nmi from the harbor"
    slips = [(lon, lat), (lat, -lon), (-lat, lon), (lon, -lat), (-lon, lat), (-lon, -lat), (-lat, -lon)]
    meant = next((s for s in slips if _is_place(*s) and _nmi(s, home) <= FARTHEST_NMI), None)
    if meant is not None:
        yield Fault(where, key, found, f"[{meant[0]:g}, {meant[1]:g}]? latitude first, west and south negative")
    else:
        yield Fault(where, key, found, f"a mark within {FARTHEST_NMI:g} nmi of the harbor, latitude first")


def _stations_measure(where: str, areas: Sequence[Area]) -> Iterator[Fault]:
    for area in areas:
        if area.station is not None and not area.station_gives:
            write = f'quantities that {area.station} measures, as in ["wind_kt", "sea_m"]'
            yield Fault(where, f"areas[{area.name}].station_gives", "nothing", write)


def _fit_together(
    where: str,
    boat: Boat | None,
    strings: Sequence[String],
    crew: Crew | None,
    mail: Mail | None,
    letters: Letters | None,
) -> Iterator[Fault]:
    for string in strings:
        key = f"strings[{string.name}]"
        if string.soak_ceiling_days <= string.soak_floor_days:
            write = f"more than soak_floor_days, {string.soak_floor_days:g}"
            yield Fault(where, f"{key}.soak_ceiling_days", f"{string.soak_ceiling_days:g}", write)
        yield from _only_tighter(where, f"{key}.limits", boat, string.limits)
    if boat is not None:
        yield from _only_tighter(where, "boat.limits_young_crew", boat, boat.limits_young_crew)
        if crew is not None and crew.young_aboard and boat.limits_young_crew is None:
            write = "a table [boat.limits_young_crew], as crew.young_aboard is true"
            yield Fault(where, "boat.limits_young_crew", "nothing", write)
    if mail is not None and mail.security == "none" and not is_loopback(mail.host):
        write = f'"starttls" or "tls"; plain mail goes to this machine only, not to {mail.host}'
        yield Fault(where, "mail.security", '"none"', write)
    elif mail is not None and mail.security == "none" and mail.username is not None:
        write = '"starttls" or "tls", or no mail.username: a password never goes out in the clear'
        yield Fault(where, "mail.security", '"none"', write)
    if letters is not None and letters.useless_after <= letters.morning:
        write = f"a time later than the morning letter's, {letters.morning:%H:%M}"
        yield Fault(where, "letters.useless_after", f"{letters.useless_after:%H:%M}", write)
    if letters is not None and letters.eve_useless_after <= letters.eve:
        write = f"a time before midnight, later than the eve letter's, {letters.eve:%H:%M}"
        yield Fault(where, "letters.eve_useless_after", f"{letters.eve_useless_after:%H:%M}", write)


def _only_tighter(where: str, key: str, boat: Boat | None, own: TighterLimits | None) -> Iterator[Fault]:
    if boat is None or own is None:
        return
    for name in TighterLimits.model_fields:
        value, limit = getattr(own, name), getattr(boat.limits, name)
        if value is None or limit is None:
            continue
        looser = value < limit if name == "visibility_nm" else value > limit
        if looser:
            bound = "at least" if name == "visibility_nm" else "at most"
            yield Fault(
                where, f"{key}.{name}", f"{value:g}", f"{bound} the boat's own {limit:g}: it only tightens"
            )


def _is_place(lat: float, lon: float) -> bool:
    return abs(lat) <= 90 and abs(lon) <= 180


def _nmi(one: tuple[float, float], other: tuple[float, float]) -> float:
    return distance_nmi(Mark(*one), Mark(*other))


def _fishery_of(choice: FisheryChoice, path: Path, faults: list[Fault]) -> tuple[Fishery | None, str]:
    try:
        fishery, sha256 = _fishery_in(path.parent / "fisheries" / choice.file)
    except SettingsError as error:
        faults += error.faults
        return None, ""
    if choice.sector not in fishery.sectors:
        write = nearest(choice.sector, fishery.sectors)
        faults.append(Fault(str(path), "fishery.sector", repr(choice.sector), write))
    if choice.region is not None and choice.region not in fishery.region_names:
        write = (
            nearest(choice.region, fishery.region_names) if fishery.regions else "no region; this fishery has none"
        )
        faults.append(Fault(str(path), "fishery.region", repr(choice.region), write))
    return fishery, sha256


def _traps_allowed(
    where: str,
    fishery: Fishery | None,
    choice: FisheryChoice | None,
    strings: Sequence[String],
    crew: Crew | None,
) -> Iterator[Fault]:
    """The strictest standing rule on traps a person, held against all strings together."""
    if fishery is None or choice is None or crew is None:
        return
    standing = [
        rule
        for rule in fishery.traps_per_person
        if rule.binds(choice.sector, choice.region) and rule.until is None
    ]
    traps = sum(string.traps for string in strings)
    for rule in sorted(standing, key=lambda rule: rule.value)[:1]:
        most = rule.value * crew.hands
        if traps > most:
            write = (
                f'at most {most} in all strings: the rule "{rule.name}" allows {rule.value} each, '
                f"and crew.hands is {crew.hands} ({rule.source})"
            )
            yield Fault(where, "strings", f"{traps} traps", write)


def _database(store: Store, path: Path, env: Mapping[str, str], faults: list[Fault]) -> Path | None:
    if store.database is not None:
        return path.parent / store.database
    systemd = env.get("STATE_DIRECTORY", "").split(":")[0]
    if systemd:
        return Path(systemd) / "soakbell.sqlite3"
    if env.get("XDG_STATE_HOME"):
        return Path(env["XDG_STATE_HOME"]) / "soakbell" / "soakbell.sqlite3"
    if env.get("HOME"):
        return Path(env["HOME"]) / ".local" / "state" / "soakbell" / "soakbell.sqlite3"
    faults.append(Fault(str(path), "store.database", "nothing, and no state folder either", "a path"))
    return None


# ---- Secrets ---------------------------------------------------------------------------------------------


def _secret(name: str, env: Mapping[str, str], faults: list[Fault]) -> SecretStr | None:
    """The secret ``name``, from the one place that gives it; None where none does."""
    variable = f"SOAKBELL_{name.upper()}"
    ways: list[tuple[str, Callable[[], str | None]]] = []
    if folder := env.get("CREDENTIALS_DIRECTORY"):
        credential = Path(folder) / name
        if _may_be_there(credential):
            ways.append((str(credential), lambda: _secret_file(credential, faults, owner_only=False)))
    if f"{variable}_FILE" in env:
        named = Path(env[f"{variable}_FILE"])
        ways.append((f"{variable}_FILE", lambda: _secret_file(named, faults, owner_only=True)))
    if variable in env:
        ways.append((variable, lambda: env[variable]))
    if not ways:
        return None
    if len(ways) > 1:
        found = "it in " + " and in ".join(way for way, _ in ways)
        faults.append(Fault("secrets", name, found, "it in one of them only"))
        return None
    where, read = ways[0]
    text = read()
    if text is None:
        return None
    text = text.removesuffix("\n").removesuffix("\r")
    if not text or not text.isprintable() or len(text) > _SECRET_CHARACTERS:
        write = f"one line of 1 to {_SECRET_CHARACTERS} printable characters"
        faults.append(Fault(where, name, "an empty, very long or unprintable value (not shown)", write))
        return None
    return SecretStr(text)


def _may_be_there(path: Path) -> bool:
    """False only where it is plainly absent; a folder that can't be looked into is told when the file is read."""
    try:
        return path.exists()
    except OSError:
        return True


def _secret_file(path: Path, faults: list[Fault], *, owner_only: bool) -> str | None:
    try:
        mode = path.stat().st_mode
        if not stat.S_ISREG(mode):
            faults.append(Fault(str(path), "file", "no plain file", "the path of a file that holds the secret"))
            return None
        if owner_only and mode & 0o077:
            faults.append(Fault(str(path), "mode", f"{stat.S_IMODE(mode):04o}", f"0600: chmod 600 {path}"))
            return None
        return path.read_text("utf-8")
    except OSError as error:
        found = error.strerror or "a fault"
        faults.append(Fault(str(path), "file", found, "the path of a file that holds the secret and can be read"))
    except UnicodeDecodeError:
        faults.append(Fault(str(path), "file", "bytes that are not UTF-8", "the secret as UTF-8 text"))
    return None


def _secrets_fit(
    where: str, mail: Mail | None, password: SecretStr | None, heartbeat: SecretStr | None, env: Mapping[str, str]
) -> Iterator[Fault]:
    told = any(name in env for name in ("SOAKBELL_MAIL_PASSWORD", "SOAKBELL_MAIL_PASSWORD_FILE"))
    if mail is not None and mail.username is not None and password is None and not told:
        write = "a file that holds it, named in SOAKBELL_MAIL_PASSWORD_FILE"
        yield Fault("secrets", "mail_password", f"nothing, and mail.username in {where}", write)
    if mail is not None and mail.username is None and password is not None:
        yield Fault(where, "mail.username", "nothing, but a password", "the user name that goes with it")
    if heartbeat is not None:
        try:
            _base_url(heartbeat.get_secret_value().split("?")[0])
        except ValueError:
            yield Fault("secrets", "heartbeat_url", "no https address (not shown)", "an https address")
