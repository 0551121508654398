"""What a payload is, by its content alone: names of files are often wrong."""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum

from soakbell.errors import NotUnderstood
from soakbell.feeds.strict_json import is_problem, read_json


class PayloadKind(StrEnum):
    """Sources by kind. The value is how a person is told."""

    ZONE_TEXT = "zone forecast"
    WARNING_TEXT = "official warnings, one text"
    OTHER_TEXT = "another text product"
    PRODUCT_LIST = "list of text products"
    GRID = "grid forecast"
    POINT_FORECAST = "point forecast (not used: it treats the sea as land)"
    ALERTS = "official warnings, a list"
    POINT = "forecast cell of a position"
    ZONE = "forecast zone"
    PROBLEM = "report of a fault by the service"
    NDBC_REALTIME = "station, last 45 days"
    NDBC_CWIND = "station, continuous wind"
    NDBC_SPEC = "station, wave summary"
    NDBC_STDMET = "station, history"
    NDBC_OCEAN = "station, ocean (neither wind nor sea)"
    NDBC_LATEST = "station reports, the latest of all"
    TIDE_PREDICTIONS = "tide predictions"
    WATER_LEVELS = "water levels"
    STATION_METADATA = "tide station metadata"
    SECOND_OPINION = "second-opinion marine model"
    HTML = "a page of HTML or XML"
    UNKNOWN = "unknown"


# Product categories: the first three letters of the AWIPS id that stands on a line by itself in the head.
_ZONE_PRODUCTS = frozenset({"CWF", "NSH", "OFF", "GLF"})
_WARNING_PRODUCTS = frozenset({"MWW", "SMW", "MWS", "NPW", "CFW", "HLS", "TCV", "SVS", "SPS"})
_AWIPS_ID = re.compile(r"^([A-Z]{3})[A-Z0-9]{1,3}\s*$", re.MULTILINE)
_HEAD_LINES = 8


def kind_of(body: bytes) -> PayloadKind:
    """Say what a payload is. Never raises: what can't be told is UNKNOWN."""
    start = body.lstrip()
    if start.startswith(b"<"):
        return PayloadKind.HTML
    if start.startswith((b"{", b"[")):
        try:
            found = read_json(body, what="a payload")
        except NotUnderstood:
            return PayloadKind.UNKNOWN
        return _kind_of_object(found) if isinstance(found, dict) else PayloadKind.UNKNOWN
    text = body[:4000].decode("utf-8", errors="replace")
    return _kind_of_table(text) if start.startswith(b"#") else _kind_of_text(text)


def _kind_of_object(found: Mapping[str, object]) -> PayloadKind:
    said = found.get("properties")
    if is_problem(found) or set(found) == {"error"}:
        return PayloadKind.PROBLEM
    if isinstance(said, dict):
        return _kind_of_feature(said)
    if found.get("type") == "FeatureCollection" and isinstance(found.get("features"), list):
        return _kind_of_features(found)
    if "productText" in found:
        return _kind_of_text(str(found["productText"]))
    if isinstance(found.get("@graph"), list):
        return PayloadKind.PRODUCT_LIST
    if "latitude" in found and any(f"{part}_units" in found for part in ("hourly", "current", "daily")):
        return PayloadKind.SECOND_OPINION
    for key, kind in (
        ("predictions", PayloadKind.TIDE_PREDICTIONS),
        ("data", PayloadKind.WATER_LEVELS),
        ("stations", PayloadKind.STATION_METADATA),
    ):
        if isinstance(found.get(key), list):
            return kind
    return PayloadKind.UNKNOWN


def _kind_of_feature(said: Mapping[str, object]) -> PayloadKind:
    if "validTimes" in said and "gridId" in said:
        return PayloadKind.GRID
    if isinstance(said.get("periods"), list):
        return PayloadKind.POINT_FORECAST
    if "forecastGridData" in said:
        return PayloadKind.POINT
    if said.get("@type") == "wx:Zone":
        return PayloadKind.ZONE
    return PayloadKind.UNKNOWN


def _kind_of_features(found: Mapping[str, object]) -> PayloadKind:
    """Warnings have an event and a message type; an empty list is known by its title."""
    features = found["features"]
    if isinstance(features, list) and features:
        said = [f.get("properties") if isinstance(f, dict) else None for f in features]
        warnings = all(isinstance(s, dict) and {"event", "messageType"} <= set(s) for s in said)
        return PayloadKind.ALERTS if warnings else PayloadKind.UNKNOWN
    title = str(found.get("title", "")).casefold()
    return PayloadKind.ALERTS if "warnings" in title else PayloadKind.UNKNOWN


def _kind_of_text(text: str) -> PayloadKind:
    head = "\n".join([line for line in text.splitlines() if line.strip()][:_HEAD_LINES])
    for found in _AWIPS_ID.finditer(head):
        if found[1] in _ZONE_PRODUCTS:
            return PayloadKind.ZONE_TEXT
        if found[1] in _WARNING_PRODUCTS:
            return PayloadKind.WARNING_TEXT
        return PayloadKind.OTHER_TEXT
    return PayloadKind.UNKNOWN


def _kind_of_table(text: str) -> PayloadKind:
    lines = text.splitlines()
    columns = set(lines[0].lstrip("#").split())
    if "STN" in columns and "WSPD" in columns:
        return PayloadKind.NDBC_LATEST
    if "GTIME" in columns:
        return PayloadKind.NDBC_CWIND
    if "STEEPNESS" in columns:
        return PayloadKind.NDBC_SPEC
    if "WSPD" in columns and "WVHT" in columns:
        # the tendency of pressure is told in realtime only
        return PayloadKind.NDBC_REALTIME if "PTDY" in columns else PayloadKind.NDBC_STDMET
    return PayloadKind.NDBC_OCEAN if {"DEPTH", "OTMP"} <= columns else PayloadKind.UNKNOWN
