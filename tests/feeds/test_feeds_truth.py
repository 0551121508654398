"""What the captured official texts say, read by eye, against what the readers make of them.

The tables in tests/truth were typed from the printed texts and know nothing of the readers.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from soakbell.feeds.warning_text import WarningBulletin, parse_warning_text
from soakbell.feeds.zone_text import parse_zone_text
from soakbell.sea.warnings import Vtec
from soakbell.sea.zone_forecast import ForecastPeriod, Range, ZoneBulletin, ZoneForecast
from soakbell.units import m_from_ft

TRUTH = Path(__file__).resolve().parents[1] / "truth"
EXACT_SHARE_MIN = 0.97  # owner's bar for the reader; the rest must be owned up to


@dataclass(frozen=True)
class TruePeriod:
    """Heights in feet, as printed. ``sea_low_told`` False: the parts are summed and have no low of their own."""

    label: str
    wind_kt: Range
    gust_kt: float | None
    sea_ft: Range | None
    sea_low_told: bool
    sea_whole: bool


@dataclass(frozen=True)
class TrueSegment:
    zones: tuple[str, ...]
    expires_at: datetime
    headlines: tuple[str, ...]
    periods: tuple[TruePeriod, ...]
    stray_ft: dict[str, float]


@dataclass(frozen=True)
class TrueProduct:
    file: str
    issued_at: datetime
    segments: tuple[TrueSegment, ...]


@dataclass(frozen=True)
class Worst:
    """The worst over all parts of the zone in one read period."""

    wind_kt: Range | None
    gust_kt: float | None
    sea_m: Range | None
    sea_whole: bool


@dataclass(frozen=True)
class Statement:
    where: str
    exact: bool
    owned_up: bool  # its period (or segment) lists something as not understood


def _true_range(words: str) -> Range:
    if words.startswith(".."):
        return Range(None, float(words[2:]))
    low, _, high = words.partition("-")
    return Range(float(low), float(high or low))


def _true_period(line: str) -> TruePeriod:
    label, _, said = line.partition(":")
    wind, sea = (part.split() for part in said.split(","))
    parts = [float(height) for height in sea[0].split("+")] if "+" in sea[0] else []
    if sea[0] == "none":
        sea_ft = None
    elif parts:
        sea_ft = Range(None, math.hypot(*parts))
    else:
        sea_ft = _true_range(sea[0])
    return TruePeriod(
        label=label,
        wind_kt=_true_range(wind[0]),
        gust_kt=float(wind[1].removeprefix("g")) if len(wind) > 1 else None,
        sea_ft=sea_ft,
        sea_low_told=not parts,
        sea_whole=sea[1:] != ["part"],
    )


def _true_products() -> tuple[TrueProduct, ...]:
    tables = [tomllib.loads(path.read_text("utf-8")) for path in sorted(TRUTH.glob("zone_text_*.toml"))]
    return tuple(
        TrueProduct(
            file=product["file"],
            issued_at=product["issued"],
            segments=tuple(
                TrueSegment(
                    zones=tuple(segment["zones"]),
                    expires_at=segment["expires"],
                    headlines=tuple(segment["headlines"]),
                    periods=tuple(_true_period(line) for line in segment["periods"].splitlines()),
                    stray_ft=segment.get("stray", {}),
                )
                for segment in product["segment"]
            ),
        )
        for table in tables
        for product in table["product"]
    )


PRODUCTS = _true_products()
MESSAGES = tomllib.loads((TRUTH / "warnings_text.toml").read_text("utf-8"))["message"]
ENDING = {"CAN", "UPG"}  # NWS Instruction 10-1703: cancelled, replaced by another event
each_product = pytest.mark.parametrize("product", PRODUCTS, ids=lambda product: product.file)
each_message = pytest.mark.parametrize("message", MESSAGES, ids=lambda message: message["file"])


def _read(shared: Path, product: TrueProduct) -> ZoneBulletin:
    return parse_zone_text((shared / "data" / "weather" / "cwf" / product.file).read_bytes())


def _pairs(product: TrueProduct, bulletin: ZoneBulletin) -> Iterator[tuple[TrueSegment, ZoneForecast]]:
    read = {segment.zones: segment for segment in bulletin.segments}
    return ((truth, read[truth.zones]) for truth in product.segments)


def _period_pairs(
    product: TrueProduct, bulletin: ZoneBulletin
) -> Iterator[tuple[str, TruePeriod, ForecastPeriod]]:
    for truth, segment in _pairs(product, bulletin):
        read = {period.label: period for period in segment.periods}
        for period in truth.periods:
            yield f"{truth.zones[0]} {period.label}", period, read[period.label]


def _span(ranges: list[Range]) -> Range | None:
    if not ranges:
        return None
    lows = [stated.low for stated in ranges if stated.low is not None]
    low = min(lows) if len(lows) == len(ranges) else None
    return Range(low, max(stated.high for stated in ranges))


def _worst(period: ForecastPeriod) -> Worst:
    gusts = [state.gust_kt for state in period.states if state.gust_kt is not None]
    with_sea = [state for state in period.states if state.sea_m is not None]
    return Worst(
        wind_kt=_span([state.wind_kt for state in period.states if state.wind_kt is not None]),
        gust_kt=max(gusts) if gusts else None,
        sea_m=_span([state.sea_m for state in with_sea if state.sea_m is not None]),
        sea_whole=all(state.sea_whole for state in with_sea),
    )


def _same(read: Range | None, truth: Range | None, low_told: bool = True) -> bool:
    if read is None or truth is None:
        return read is truth
    low_fits = not low_told or read.low == (truth.low if truth.low is None else pytest.approx(truth.low, abs=1e-6))
    return bool(low_fits and read.high == pytest.approx(truth.high, abs=1e-6))


def _in_metres(sea_ft: Range | None) -> Range | None:
    if sea_ft is None:
        return None
    return Range(None if sea_ft.low is None else m_from_ft(sea_ft.low), m_from_ft(sea_ft.high))


def _period_statements(where: str, truth: TruePeriod, period: ForecastPeriod) -> Iterator[Statement]:
    read = _worst(period)
    owned = bool(period.not_understood)
    yield Statement(f"{where}: wind", _same(read.wind_kt, truth.wind_kt), owned)
    if truth.gust_kt is not None or read.gust_kt is not None:
        yield Statement(f"{where}: gust", read.gust_kt == truth.gust_kt, owned)
    yield Statement(f"{where}: sea", _same(read.sea_m, _in_metres(truth.sea_ft), truth.sea_low_told), owned)
    if truth.sea_ft is not None:
        whole = read.sea_m is not None and read.sea_whole == truth.sea_whole
        yield Statement(f"{where}: whole sea or part", whole, owned)


def _statements(product: TrueProduct, bulletin: ZoneBulletin) -> Iterator[Statement]:
    yield Statement(f"{product.file}: issued", bulletin.issued_at == product.issued_at, owned_up=False)
    for truth, segment in _pairs(product, bulletin):
        where, owned = truth.zones[0], bool(segment.not_understood)
        kinds = tuple(headline.meaning.value for headline in segment.headlines)
        yield Statement(f"{where}: headlines", kinds == truth.headlines, owned)
        yield Statement(f"{where}: issued", segment.issued_at == product.issued_at, owned)
        yield Statement(f"{where}: expires", segment.expires_at == truth.expires_at, owned)
    for where, period, read in _period_pairs(product, bulletin):
        yield from _period_statements(where, period, read)


def test_the_tables_cover_every_captured_text(shared: Path) -> None:
    weather = shared / "data" / "weather"
    assert {p.file for p in PRODUCTS} == {path.name for path in (weather / "cwf").iterdir()}
    assert {m["file"] for m in MESSAGES} == {path.name for path in (weather / "warnings_text").iterdir()}


@each_product
def test_every_zone_and_period_of_a_text_is_read_and_nothing_more(shared: Path, product: TrueProduct) -> None:
    read = [(s.zones, tuple(p.label for p in s.periods)) for s in _read(shared, product).segments]
    assert read == [(s.zones, tuple(p.label for p in s.periods)) for s in product.segments]


@each_product
def test_no_upper_end_is_read_below_what_the_text_says(shared: Path, product: TrueProduct) -> None:
    low = []
    for where, truth, period in _period_pairs(product, _read(shared, product)):
        read = _worst(period)
        for name, got, told in (
            ("wind", read.wind_kt and read.wind_kt.high, truth.wind_kt.high),
            ("gust", read.gust_kt, truth.gust_kt),
            ("sea", read.sea_m and read.sea_m.high, truth.sea_ft and m_from_ft(truth.sea_ft.high)),
        ):
            if told is None:
                continue
            if got is None and period.not_understood:
                continue  # no call is made from it
            if got is None or got < told - 1e-6:
                low.append(f"{where}: {name} read {got}, told {told}")
    assert low == []


@each_product
def test_a_part_of_the_sea_is_never_read_as_the_whole(shared: Path, product: TrueProduct) -> None:
    wrong = [
        where
        for where, truth, period in _period_pairs(product, _read(shared, product))
        if not truth.sea_whole and _worst(period).sea_m is not None and _worst(period).sea_whole
    ]
    assert wrong == []


@each_product
def test_a_warning_headline_is_never_read_as_less(shared: Path, product: TrueProduct) -> None:
    for truth, segment in _pairs(product, _read(shared, product)):
        bars = [headline for headline in segment.headlines if headline.meaning.value != "caution"]
        assert len(bars) >= truth.headlines.count("warning"), truth.zones


@each_product
def test_what_is_not_read_exactly_is_listed_as_not_understood(shared: Path, product: TrueProduct) -> None:
    statements = _statements(product, _read(shared, product))
    assert [s.where for s in statements if not s.exact and not s.owned_up] == []


def test_a_height_without_a_subject_is_added_or_listed_as_not_understood(shared: Path) -> None:
    seen = 0
    for product in PRODUCTS:
        bulletin = _read(shared, product)
        strays = {
            f"{s.zones[0]} {label}": height for s in product.segments for label, height in s.stray_ft.items()
        }
        for where, truth, period in _period_pairs(product, bulletin):
            if where not in strays or truth.sea_ft is None:
                continue
            seen += 1
            with_stray_m = m_from_ft(math.hypot(truth.sea_ft.high, strays[where]))
            read = _worst(period).sea_m
            assert period.not_understood or (read is not None and read.high >= with_stray_m - 1e-6), where
    assert seen == 2


def test_at_least_97_of_100_statements_are_read_exactly(shared: Path) -> None:
    statements = [s for product in PRODUCTS for s in _statements(product, _read(shared, product))]
    exact = sum(s.exact for s in statements)
    owned = sum(s.owned_up and not s.exact for s in statements)
    print(f"zone texts: {len(statements)} statements, {exact} exact, {owned} listed as not understood")
    assert exact >= EXACT_SHARE_MIN * len(statements)


def _read_message(shared: Path, message: dict[str, Any]) -> WarningBulletin:
    return parse_warning_text((shared / "data" / "weather" / "warnings_text" / message["file"]).read_bytes())


def _as_told(vtec: Vtec) -> list[Any]:
    begins = "begun" if vtec.begins_at is None else vtec.begins_at
    return [vtec.action, vtec.office, vtec.phenomenon, vtec.significance, vtec.number, begins, vtec.ends_at]


@each_message
def test_every_segment_of_a_warning_message_is_read_and_nothing_more(
    shared: Path, message: dict[str, Any]
) -> None:
    read = [(list(s.zones), s.expires_at) for s in _read_message(shared, message).segments]
    assert read == [(s["zones"], s["expires"]) for s in message["segment"]]


@each_message
def test_every_vtec_string_of_a_warning_message_is_read(shared: Path, message: dict[str, Any]) -> None:
    for segment, truth in zip(_read_message(shared, message).segments, message["segment"], strict=True):
        read = [_as_told(vtec) for vtec in segment.vtec]
        assert sorted(read, key=str) == sorted(truth["vtec"], key=str)
        assert {vtec.product_class for vtec in segment.vtec} == {"O"}
        assert segment.not_understood == ()


@each_message
def test_only_cancelled_or_replaced_events_are_counted_as_ended(shared: Path, message: dict[str, Any]) -> None:
    for segment, truth in zip(_read_message(shared, message).segments, message["segment"], strict=True):
        ended = [told for told in truth["vtec"] if told[0] in ENDING]
        assert sorted((_as_told(v) for v in segment.ended), key=str) == sorted(ended, key=str)
        assert len(segment.standing) == len(truth["vtec"]) - len(ended)
