"""The scenario's weather in the forms of the public services, as they would be sent at a moment. INVENTED DATA.

Forms: https://www.weather.gov/documentation/services-web-api (points, grids, alerts, products, zones; all JSON-LD
or GeoJSON) and https://www.ndbc.noaa.gov/docs/ndbc_web_data_guide.pdf (realtime2, latest_obs).
"""

from __future__ import annotations

import math
import random
import textwrap
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from uuid import NAMESPACE_URL, uuid5

from demo.weather import FORECAST_DAYS, HOUR, Advisory, AdvisoryMessage, Cell, Hour, Scenario, Weather, hours_from
from demo.zone_bulletin import COLUMNS, NOTICE, in_effect, spoken_time, zone_bulletin

Json = dict[str, object]

KMH_PER_KT = 1.852
MS_PER_KT = 1852.0 / 3600.0
M_PER_FT = 0.3048
M_PER_NMI = 1852.0

GRID_UPDATED_MIN = 10  # minutes past each hour
LIST_UPDATED_MIN = 5  # the list of warnings is made anew this often
STATION_EVERY_MIN = 10
STATION_LATE_MIN = 15
STATION_DAYS = 2

_SENDER = "w-nws.webmaster@noaa.gov"
_API = "https://api.weather.gov"  # stands in links inside the payloads, as in the real ones; nothing goes there
_CONTEXT = [
    "https://geojson.org/geojson-ld/geojson-context.jsonld",
    {"@version": "1.1", "wx": f"{_API}/ontology#", "@vocab": f"{_API}/ontology#"},
]


def stamp(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds")


# ---- Zone text --------------------------------------------------------------------------------------------


def product_id(scenario: Scenario, issued_at: datetime) -> str:
    return str(uuid5(NAMESPACE_URL, f"invented:CWF{scenario.office}:{stamp(issued_at)}"))


def listed_issues(weather: Weather, now: datetime) -> list[datetime]:
    """Issue times (UTC) of the products the service lists at ``now``, newest first."""
    silent = [s for s in weather.scenario.silences if s.starts_at <= now < s.ends_at]
    issues = weather.issues(now)
    return [at for at in reversed(issues) if not any(s.starts_at <= at for s in silent)]


def product_list(weather: Weather, now: datetime) -> Json:
    """``/products/types/CWF/locations/TAE``."""
    entries = [_product_head(weather.scenario, at) for at in listed_issues(weather, now)]
    return {"@context": {"@version": "1.1", "@vocab": f"{_API}/ontology#"}, "@graph": entries}


def product(weather: Weather, issued_at: datetime) -> Json:
    """``/products/{id}``."""
    head = _product_head(weather.scenario, issued_at)
    context = {"@context": {"@version": "1.1", "@vocab": f"{_API}/ontology#"}}
    return {**context, **head, "productText": zone_bulletin(weather, issued_at)}


def _product_head(scenario: Scenario, issued_at: datetime) -> Json:
    found = product_id(scenario, issued_at)
    return {
        "@id": f"{_API}/products/{found}",
        "id": found,
        "wmoCollectiveId": "FZUS52",
        "issuingOffice": f"K{scenario.office}",
        "issuanceTime": stamp(issued_at),
        "productCode": "CWF",
        "productName": "Coastal Waters Forecast",
    }


# ---- Points, zones and the grid ---------------------------------------------------------------------------


def point(scenario: Scenario, cell: Cell, lat_deg: float, lon_deg: float) -> Json:
    """``/points/{lat},{lon}``."""
    url = f"{_API}/points/{lat_deg:g},{lon_deg:g}"
    link = f"{_API}/gridpoints/{scenario.office}/{cell.x},{cell.y}"
    return {
        "@context": _CONTEXT,
        "id": url,
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [lon_deg, lat_deg]},
        "properties": {
            "@id": url,
            "@type": "wx:Point",
            "cwa": scenario.office,
            "type": "marine",
            "forecastOffice": f"{_API}/offices/{scenario.office}",
            "gridId": scenario.office,
            "gridX": cell.x,
            "gridY": cell.y,
            "forecast": None,
            "forecastHourly": None,
            "forecastGridData": link,
            "observationStations": f"{link}/stations",
            "forecastZone": f"{_API}/zones/forecast/{scenario.zone}",
            "county": None,
            "fireWeatherZone": None,
            "timeZone": scenario.zone_name,
            "radarStation": "KTLH",
        },
    }


def zone(scenario: Scenario) -> Json:
    """``/zones/coastal/{zone}`` and ``/zones/forecast/{zone}``."""
    url = f"{_API}/zones/forecast/{scenario.zone}"
    return {
        "@context": _CONTEXT,
        "id": url,
        "type": "Feature",
        "geometry": None,
        "properties": {
            "@id": url,
            "@type": "wx:Zone",
            "id": scenario.zone,
            "type": "coastal",
            "name": "Apalachee Bay or Coastal Waters From Keaton Beach to Ochlockonee River FL out to 20 Nm",
            "state": None,
            "cwa": [scenario.office],
            "forecastOffices": [f"{_API}/offices/{scenario.office}"],
            "timeZone": [scenario.zone_name],
            "observationStations": [],
            "radarStation": None,
        },
    }


def grid_updated_at(now: datetime) -> datetime:
    """The newest hourly update of the grid by ``now``."""
    return (now - timedelta(minutes=GRID_UPDATED_MIN)).astimezone(UTC).replace(
        minute=0, second=0, microsecond=0
    ) + timedelta(minutes=GRID_UPDATED_MIN)


def grid(weather: Weather, cell: Cell, now: datetime) -> Json:
    """``/gridpoints/{office}/{x},{y}``: the forecast of the newest zone text's issue, hour by hour."""
    scenario = weather.scenario
    updated_at = grid_updated_at(now)
    basis = weather.issues(updated_at)[-1]
    times = hours_from(updated_at, 24 * FORECAST_DAYS)
    hours = [weather.in_cell(weather.forecast(basis, at), cell) for at in times]
    url = f"{_API}/gridpoints/{scenario.office}/{cell.x},{cell.y}"
    return {
        "@context": _CONTEXT,
        "id": url,
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [_outline(cell)]},
        "properties": {
            "@id": url,
            "@type": "wx:Gridpoint",
            "updateTime": stamp(updated_at),
            "validTimes": f"{stamp(times[0])}/P{FORECAST_DAYS}D",
            "elevation": {"unitCode": "wmoUnit:m", "value": 0},
            "forecastOffice": f"{_API}/offices/{scenario.office}",
            "gridId": scenario.office,
            "gridX": cell.x,
            "gridY": cell.y,
            "windDirection": _layer(hours, "wmoUnit:degree_(angle)", lambda h: 10 * round(h.from_deg / 10) % 360),
            "windSpeed": _layer(hours, "wmoUnit:km_h-1", lambda h: _rounded(round(h.wind_kt) * KMH_PER_KT)),
            "windGust": _layer(hours, "wmoUnit:km_h-1", lambda h: _rounded(round(h.gust_kt) * KMH_PER_KT)),
            "weather": {"values": []},
            "hazards": {"values": _hazards(scenario, updated_at, times[0])},
            "visibility": _layer(hours, "wmoUnit:m", lambda h: _rounded(round(h.visibility_nm) * M_PER_NMI)),
            "waveHeight": _layer(hours, "wmoUnit:m", lambda h: _rounded(round(h.sea_ft) * M_PER_FT)),
            "wavePeriod": _layer(hours, "nwsUnit:s", lambda h: round(h.period_s)),
            "windWaveHeight": {"values": []},
            "primarySwellHeight": {"values": []},
            "probabilityOfThunder": _layer(hours, "wmoUnit:percent", lambda h: round(h.thunder_pct)),
        },
    }


def _outline(cell: Cell) -> list[list[float]]:
    south, north = cell.lat_deg - cell.half_deg, cell.lat_deg + cell.half_deg
    west, east = cell.lon_deg - cell.half_deg, cell.lon_deg + cell.half_deg
    ring = [(west, south), (east, south), (east, north), (west, north), (west, south)]
    return [[round(lon, 7), round(lat, 7)] for lon, lat in ring]


def _layer(hours: Sequence[Hour], uom: str, value: Callable[[Hour], float]) -> Json:
    """Hours of one value run together into one interval, as the service sends them."""
    runs: list[tuple[datetime, int, float]] = []
    for hour in hours:
        found = value(hour)
        if runs and runs[-1][2] == found:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1, found)
        else:
            runs.append((hour.at, 1, found))
    values = [{"validTime": f"{stamp(at)}/{_lasting(count)}", "value": found} for at, count, found in runs]
    return {"uom": uom, "values": values}


def _lasting(hours: int) -> str:
    days, rest = divmod(hours, 24)
    return f"P{f'{days}D' if days else ''}{f'T{rest}H' if rest else ''}"


def _rounded(value: float) -> float:
    return round(value, 4)


def _hazards(scenario: Scenario, updated_at: datetime, first: datetime) -> list[Json]:
    found: list[Json] = []
    for advisory in scenario.advisories:
        message = advisory.holds(updated_at)
        if message is not None:
            begins = max(message.begins_at.astimezone(UTC), first)
            hours = math.ceil((message.ends_at - begins) / HOUR)
            value = {"phenomenon": "SC", "significance": "Y", "event_number": advisory.number}
            found.append({"validTime": f"{stamp(begins)}/{_lasting(hours)}", "value": [value]})
    return found


# ---- Warnings ---------------------------------------------------------------------------------------------


def alerts(weather: Weather, now: datetime) -> Json:
    """``/alerts/active?zone=``: the newest message of each advisory, a cancel for half an hour."""
    scenario = weather.scenario
    made_at = now.astimezone(UTC) - timedelta(
        minutes=now.minute % LIST_UPDATED_MIN, seconds=now.second, microseconds=now.microsecond
    )
    features = []
    for advisory in scenario.advisories:
        message = advisory.as_of(made_at)
        if message is not None and made_at < _expires_at(message):
            features.append(_alert(scenario, advisory, message))
    return {
        "@context": _CONTEXT,
        "type": "FeatureCollection",
        "features": features,
        "title": f"Current watches, warnings, and advisories for {scenario.zone} (invented data)",
        "updated": stamp(made_at),
    }


def _expires_at(message: AdvisoryMessage) -> datetime:
    if message.action == "CAN":
        return message.sent_at + timedelta(minutes=30)
    return min(message.ends_at, message.sent_at + timedelta(hours=13))


def _alert_id(advisory: Advisory, message: AdvisoryMessage) -> str:
    digest = uuid5(NAMESPACE_URL, f"{advisory.number} {stamp(message.sent_at)}").hex
    return f"urn:oid:2.49.0.1.840.0.{digest}.001.1"


def _alert(scenario: Scenario, advisory: Advisory, message: AdvisoryMessage) -> Json:
    own_id = _alert_id(advisory, message)
    sent, begins, ends = (scenario.local(at) for at in (message.sent_at, message.begins_at, message.ends_at))
    earlier = [m for m in advisory.messages if m.sent_at < message.sent_at]
    cancelled = message.action == "CAN"
    over = "is cancelled" if cancelled else f"{_now(earlier)}{in_effect(begins, ends, sent)}"
    return {
        "id": f"{_API}/alerts/{own_id}",
        "type": "Feature",
        "geometry": None,
        "properties": {
            "@id": f"{_API}/alerts/{own_id}",
            "@type": "wx:Alert",
            "id": own_id,
            "areaDesc": "Apalachee Bay or Coastal Waters From Keaton Beach to Ochlockonee River FL out to 20 Nm",
            "geocode": {"SAME": [f"077{scenario.zone[-3:]}"], "UGC": [scenario.zone]},
            "affectedZones": [f"{_API}/zones/forecast/{scenario.zone}"],
            "references": [_reference(advisory, m) for m in earlier],
            "sent": sent.isoformat(),
            "effective": sent.isoformat(),
            "onset": max(begins, sent).isoformat(),
            "expires": scenario.local(_expires_at(message)).isoformat(),
            "ends": None if cancelled else ends.isoformat(),
            "status": "Actual",
            "messageType": "Cancel" if cancelled else "Update" if earlier else "Alert",
            "category": "Met",
            "severity": "Minor",
            "certainty": "Observed" if cancelled else "Likely",
            "urgency": "Past" if cancelled else "Expected",
            "event": "Small Craft Advisory",
            "sender": _SENDER,
            "senderName": "NWS Tallahassee FL",
            "headline": _alert_headline(message, sent, ends),
            "description": _described(advisory, message, sent, ends),
            "instruction": None if cancelled else _ADVICE,
            "response": "AllClear" if cancelled else "Avoid",
            "parameters": {
                "AWIPSidentifier": [f"MWW{scenario.office}"],
                "WMOidentifier": [f"WHUS72 K{scenario.office} {message.sent_at.astimezone(UTC):%d%H%M}"],
                "NWSheadline": [f"Small Craft Advisory {over}".upper()],
                "VTEC": [_vtec(scenario, advisory, message)],
                "eventEndingTime": [ends.isoformat()],
            },
        },
    }


_ADVICE = (
    "Inexperienced mariners, especially those operating smaller\n"
    "vessels, should avoid navigating in hazardous conditions."
)


def _now(earlier: Sequence[AdvisoryMessage]) -> str:
    return "remains " if earlier else ""


def _alert_headline(message: AdvisoryMessage, sent: datetime, ends: datetime) -> str:
    def told(at: datetime) -> str:
        return f"{at:%B} {at.day} at {at.hour % 12 or 12}:{at.minute:02d}{at:%p %Z}"

    if message.action == "CAN":
        return f"The Small Craft Advisory was cancelled {told(sent)} by NWS Tallahassee FL (invented data)"
    return f"Small Craft Advisory issued {told(sent)} until {told(ends)} by NWS Tallahassee FL (invented data)"


def _described(advisory: Advisory, message: AdvisoryMessage, sent: datetime, ends: datetime) -> str:
    if message.action == "CAN":
        return f"Winds and seas have fallen below the criteria.\n\n{NOTICE}"
    what = textwrap.fill(f"* WHAT...{advisory.what[0].upper()}{advisory.what[1:]} expected.", COLUMNS)
    begins = message.begins_at.astimezone(sent.tzinfo)
    end = spoken_time(ends, seen_from=sent)
    when = f"Until {end}" if begins <= sent else f"From {spoken_time(begins, seen_from=sent)} to {end}"
    return (
        f"{what}\n\n"
        "* WHERE...Apalachee Bay or Coastal Waters From Keaton Beach to\nOchlockonee River FL out to 20 Nm.\n\n"
        f"* WHEN...{when}.\n\n* IMPACTS...Conditions will be hazardous to small craft.\n\n{NOTICE}"
    )


def _reference(advisory: Advisory, message: AdvisoryMessage) -> Json:
    found = _alert_id(advisory, message)
    return {
        "@id": f"{_API}/alerts/{found}",
        "identifier": found,
        "sender": _SENDER,
        "sent": message.sent_at.isoformat(),
    }


def _vtec(scenario: Scenario, advisory: Advisory, message: AdvisoryMessage) -> str:
    begun = message.begins_at <= message.sent_at
    begins = "000000T0000Z" if begun else f"{message.begins_at.astimezone(UTC):%y%m%dT%H%MZ}"
    ends = f"{message.ends_at.astimezone(UTC):%y%m%dT%H%MZ}"
    return f"/O.{message.action}.K{scenario.office}.SC.Y.{advisory.number:04d}.{begins}-{ends}/"


# ---- The shore station ------------------------------------------------------------------------------------

_STATION_HEAD = (
    "#YY  MM DD hh mm WDIR WSPD GST  WVHT   DPD   APD MWD   PRES  ATMP  WTMP  DEWP  VIS PTDY  TIDE\n"
    "#yr  mo dy hr mn degT m/s  m/s     m   sec   sec degT   hPa  degC  degC  degC  nmi  hPa    ft\n"
)


_LATEST_HEAD = (
    "#STN     LAT      LON  YYYY MM DD hh mm WDIR WSPD   GST WVHT  DPD APD MWD   PRES  PTDY  ATMP  WTMP  DEWP  VIS"
    "   TIDE\n"
    "#text    deg      deg   yr mo day hr mn degT  m/s   m/s   m   sec sec degT   hPa   hPa  degC  degC  degC  nmi"
    "     ft\n"
)


def realtime(weather: Weather, now: datetime) -> str:
    """``/data/realtime2/{station}.txt``: a shore station, newest row first; waves in the row of each full hour."""
    newest = _newest_measured_at(now)
    count = STATION_DAYS * 24 * 60 // STATION_EVERY_MIN
    times = [newest - n * timedelta(minutes=STATION_EVERY_MIN) for n in range(count)]
    return _STATION_HEAD + "".join(_station_row(weather, at) for at in times)


def latest_observations(weather: Weather, now: datetime) -> str:
    """``/data/latest_obs/latest_obs.txt``: the newest row of every station there is, which here is one."""
    at = _newest_measured_at(now)
    lat_deg, lon_deg = weather.scenario.station_mark
    wind = " ".join(_station_row(weather, at).split()[5:8])
    return (
        f"{_LATEST_HEAD}{weather.scenario.station} {lat_deg:.3f} {lon_deg:.3f} {at:%Y %m %d %H %M} {wind}"
        " MM MM MM MM 1018.0 MM 18.0 17.0 MM MM MM\n"
    )


def _newest_measured_at(now: datetime) -> datetime:
    newest = (now.astimezone(UTC) - timedelta(minutes=STATION_LATE_MIN)).replace(second=0, microsecond=0)
    return newest - timedelta(minutes=newest.minute % STATION_EVERY_MIN)


def _station_row(weather: Weather, at: datetime) -> str:
    if at not in weather.station_rows:
        weather.station_rows[at] = _measured(weather, at)
    return weather.station_rows[at]


def _measured(weather: Weather, at: datetime) -> str:
    cell = weather.scenario.cells[0]
    hour = weather.in_cell(weather.truth(at), cell)
    dice = random.Random(f"{weather.scenario.seed} station {stamp(at)}")
    wind_ms = max(0.0, hour.wind_kt + dice.gauss(0.0, 0.5)) * MS_PER_KT
    gust_ms = max(wind_ms, (hour.gust_kt + dice.gauss(0.0, 0.7)) * MS_PER_KT)
    waves = f"{hour.sea_ft * M_PER_FT:5.1f} {hour.period_s:5.0f}" if at.minute == 0 else "   MM    MM"
    return (
        f"{at:%Y %m %d %H %M} {10 * round(hour.from_deg / 10) % 360:3d} {wind_ms:4.1f} {gust_ms:4.1f} {waves}"
        f"    MM  MM 1018.0  18.0  17.0    MM   MM   MM    MM\n"
    )
