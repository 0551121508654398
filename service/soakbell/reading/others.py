"""Lists, and kinds on which no call rests."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from soakbell import units
from soakbell.errors import NotUnderstood
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
from soakbell.reading.printing import Facts, count_facts, number_fact, tell_pairs, time_fact, time_words, wrapped


def read_product_list(body: bytes, _: str, __: list[str]) -> Facts:
    where = "list of text products"
    products = []
    for entry in map(_object, list_at(read_object(body, what="a list of text products"), "@graph", where)):
        products.append(
            {
                "product": text_or_none_at(entry, "productCode", where),
                "office": text_or_none_at(entry, "issuingOffice", where),
                "issued_at": time_fact(moment(entry.get("issuanceTime"), where)),
                "id": text_at(entry, "id", where),
            }
        )
    times = [str(product["issued_at"]) for product in products]
    return {**count_facts(len(products), min(times, default=None), max(times, default=None)), "products": products}


def tell_product_list(facts: Facts) -> list[str]:
    lines = tell_pairs({key: value for key, value in facts.items() if key != "products"})
    for product in facts["products"]:
        code, office = product["product"] or "?", product["office"] or "?"
        lines += wrapped(f"{time_words(product['issued_at'])}  {code} {office}  {product['id']}", "  ")
    return lines


def read_other_text(body: bytes, _: str, __: list[str]) -> Facts:
    text = body.decode("utf-8", errors="replace")
    if body.lstrip().startswith(b"{"):
        text = str(read_object(body, what="a text product").get("productText", ""))
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    return {"lines": len(lines), "head": lines[:6]}


def read_point_forecast(body: bytes, _: str, __: list[str]) -> Facts:
    where = "point forecast"
    said = object_at(read_object(body, what="a point forecast"), "properties", where)
    periods = [_object(period) for period in list_at(said, "periods", where)]
    starts, ends = (
        [at for period in periods if (at := moment_or_none_at(period, key, where)) is not None]
        for key in ("startTime", "endTime")
    )
    return {
        "updated_at": time_fact(moment_or_none_at(said, "updateTime", where)),
        **count_facts(len(periods), time_fact(min(starts, default=None)), time_fact(max(ends, default=None))),
        "periods_without_time": len(periods) - len(starts),
    }


def read_tides(body: bytes, _: str, __: list[str]) -> Facts:
    """The reply names neither zone, datum nor unit, so times stay as printed and heights are left alone."""
    return _as_printed(read_object(body, what="tide predictions"), "predictions")


def read_levels(body: bytes, _: str, __: list[str]) -> Facts:
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


def read_tide_stations(body: bytes, _: str, __: list[str]) -> Facts:
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


def read_second_opinion(body: bytes, _: str, __: list[str]) -> Facts:
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
        **count_facts(len(times), time_fact(min(times, default=None)), time_fact(max(times, default=None))),
        "layers": [key for key in hourly if key != "time" and key not in empty],
        "empty_layers": empty,
    }


def refuse(body: bytes, _: str, __: list[str]) -> Facts:
    """A fault of the service, a page, or something unknown: say what stands there."""
    what = "a forecast, a list of warnings or observations"
    if body.lstrip()[:1] in (b"{", b"[", b"<", b""):
        read_object(body, what=what)
    raise NotUnderstood(f"expected {what}, found none of the forms that are known")


def _object(value: object) -> Mapping[str, object]:
    if not isinstance(value, dict):
        raise NotUnderstood("expected a list of objects, found something else in it")
    return value


def _any_number(value: object) -> float | None:
    return number_fact(float(value)) if isinstance(value, (int, float)) and units.is_number(value) else None
