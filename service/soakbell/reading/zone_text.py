"""The zone forecast."""

from __future__ import annotations

from soakbell import units
from soakbell.feeds.zone_text import parse_zone_text
from soakbell.reading.printing import (
    Facts,
    compass_point,
    from_to,
    number_fact,
    range_fact,
    shown_number,
    shown_range,
    some_zones,
    time_fact,
    time_words,
    wrapped,
    zones_line,
)
from soakbell.reading.segments import headline_facts, strange_headlines, strange_in, tell_headlines
from soakbell.sea.zone_forecast import AreaState, ForecastPeriod, ZoneForecast


def read_zone_text(body: bytes, _: str, not_understood: list[str]) -> Facts:
    bulletin = parse_zone_text(body)
    not_understood += [f"whole text: {phrase}" for phrase in bulletin.not_understood]
    not_understood += strange_headlines(bulletin.headlines, "whole text")
    for segment in bulletin.segments:
        where = some_zones(segment.zones)
        not_understood += strange_in(segment)
        not_understood += [f"{where} {p.label}: {phrase}" for p in segment.periods for phrase in p.not_understood]
    return {
        "product": bulletin.product,
        "office": bulletin.office,
        "issued_at": time_fact(bulletin.issued_at),
        "headlines": headline_facts(bulletin.headlines),
        "not_understood": list(bulletin.not_understood),
        "segments": [_zone_facts(segment) for segment in bulletin.segments],
    }


def _zone_facts(segment: ZoneForecast) -> Facts:
    return {
        "zones": list(segment.zones),
        "names": list(segment.names),
        "issued_at": time_fact(segment.issued_at),
        "expires_at": time_fact(segment.expires_at),
        "headlines": headline_facts(segment.headlines),
        "periods": [_period_facts(period) for period in segment.periods],
        "synopsis": segment.synopsis,
        "foot": segment.foot,
        "not_understood": list(segment.not_understood),
    }


def _period_facts(period: ForecastPeriod) -> Facts:
    return {
        "label": period.label,
        "starts_at": time_fact(period.starts_at),
        "ends_at": time_fact(period.ends_at),
        "areas": [_area_facts(state) for state in period.states],
        "thunder_pct": number_fact(period.thunder_pct),
        "visibility_nm": number_fact(period.visibility_nm),
        "chop": period.chop,
        "outlooks": list(period.outlooks),
        "not_understood": list(period.not_understood),
        "text": period.text,
    }


def _area_facts(state: AreaState) -> Facts:
    return {
        "area": state.area,
        "wind_kt": range_fact(state.wind_kt),
        "gust_kt": number_fact(state.gust_kt),
        "wind_from_deg": number_fact(state.wind_from_deg),
        "sea_ft": range_fact(state.sea_m, units.ft_from_m),
        "sea_m": range_fact(state.sea_m),
        "sea_whole": state.sea_whole if state.sea_m else None,
        "period_s": number_fact(state.period_s),
    }


_LABEL_WIDTH, _SPAN_WIDTH = 24, 21
_TITLE_WIDTH = _LABEL_WIDTH + 1 + _SPAN_WIDTH
_ZONE_ROW = f"  {{:<{_TITLE_WIDTH}}} {{:<13}} {{:>4}}  {{:<16}} {{:>5}} {{:>7}}"


def tell_zone_text(facts: Facts) -> list[str]:
    lines = [
        f"  {facts['product']} from {facts['office']}, issued {time_words(facts['issued_at'])}. Times are UTC.",
        "  Numbers are the range over the period; thunder is the upper end of what its words stand for.",
        "  - is no number; part is wind waves or swell named alone, so the whole sea isn't known.",
    ]
    if facts["headlines"]:
        lines += ["", "For every zone:", *tell_headlines(facts["headlines"])]
    lines += [
        line
        for lost in facts["not_understood"]
        for line in wrapped(f"! NOT UNDERSTOOD, no call for any zone: {lost}", "  ")
    ]
    for segment in facts["segments"]:
        lines += ["", *zones_line(segment["zones"])]
        lines += [line for name in segment["names"] for line in wrapped(name, "  ")]
        lines.append(f"  Expires {time_words(segment['expires_at'])}.")
        lines += tell_headlines(segment["headlines"])
        lines += [
            line for lost in segment["not_understood"] for line in wrapped(f"! NOT UNDERSTOOD: {lost}", "  ")
        ]
        if segment["synopsis"]:
            lines += wrapped(segment["synopsis"], "  ")
        if segment["periods"]:
            title = f"{'period':<{_LABEL_WIDTH}} from - to"
            lines.append(_ZONE_ROW.format(title, "wind kt", "gust", "sea ft (m)", "s", "thunder"))
        for period in segment["periods"]:
            lines += _tell_period(period)
        if segment["foot"]:
            lines += wrapped(segment["foot"], "  ")
    return lines


def _tell_period(period: Facts) -> list[str]:
    label = period["label"]
    span = from_to(period["starts_at"], period["ends_at"]) if period["starts_at"] else "not known"
    thunder = "?" if period["thunder_pct"] is None else f"{shown_number(period['thunder_pct'])} %"
    title = f"{label:<{_LABEL_WIDTH}} {span:<{_SPAN_WIDTH}}"
    areas = period["areas"] or [{}]
    lines = []
    if len(title) > _TITLE_WIDTH or areas[0].get("area"):
        lines.append(f"  {label}  {span}")
        title = ""
    for area in areas:
        if area.get("area"):
            *above, title = wrapped(area["area"], "    ", "")
            if len(title) > _TITLE_WIDTH:
                above, title = [*above, title], ""
            lines += above
            title = title.removeprefix("  ")
        lines.append(_ZONE_ROW.format(title, *_area_cells(area), thunder))
        title, thunder = "", ""
    notes = [f"! NOT UNDERSTOOD, no call: {phrase}" for phrase in period["not_understood"]]
    if period["visibility_nm"] is not None:
        notes.append(f"visibility at most {shown_number(period['visibility_nm'])} nmi")
    if period["chop"]:
        notes.append(f"sheltered waters: {period['chop']}")
    notes += [f"outlook: {outlook}" for outlook in period["outlooks"]]
    return lines + [line for note in notes for line in wrapped(note, " " * 6)]


def _area_cells(area: Facts) -> tuple[str, str, str, str]:
    if not area:
        return "-", "-", "-", "-"
    sea = "-"
    if area["sea_m"]:
        part = "" if area["sea_whole"] else "part "
        sea = f"{part}{shown_range(area['sea_ft'])} ({shown_range(area['sea_m'])})"
    wind = shown_range(area["wind_kt"]) if area["wind_kt"] else "-"
    from_point = f"{compass_point(area['wind_from_deg'])} " if area["wind_from_deg"] is not None else ""
    return f"{from_point}{wind}", shown_number(area["gust_kt"]), sea, shown_number(area["period_s"])
