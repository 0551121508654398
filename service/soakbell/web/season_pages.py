"""Season's end and start as letters tell them, the recovery list, and its files and sheets."""

from __future__ import annotations

from collections.abc import Callable

from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, Response

from soakbell.letters.facts import LetterFacts
from soakbell.letters.recovery import recovery_sections
from soakbell.letters.recovery_files import recovery_csv, recovery_gpx, take_up_ics
from soakbell.letters.recovery_sheet import recovery_sheet, sheet_css
from soakbell.letters.recovery_words import EVENLY, STACKED, STAYS, lead_words, starts_words, trip_words
from soakbell.letters.season_section import reckoned_lines, season_section
from soakbell.letters.start_section import start_section
from soakbell.letters.words import ended
from soakbell.planning.recovery import RecoveryList
from soakbell.planning.season_told import SeasonAhead, TodayCounts
from soakbell.web.today_pages import counting_call, of_call
from soakbell.web.visit import Visit, Way

_STYLE = "/season/sheet.css"
NO_ODDS = (
    "No odds are told: those of the last morning letter are not of the traps that are out now, the last day and "
    "the settings. The next morning letter reckons them anew."
)


def _season(visit: Visit) -> Response:
    ahead = _ahead(visit)
    listed = ahead.recovery
    call = counting_call(visit) if _by_call(ahead) else None
    section = season_section(ahead, "")
    return visit.page(
        "season.html",
        lead="" if listed is None else lead_words(listed),
        section=section,
        of_call=of_call(visit, call),
        lines_of_call=() if call is None or listed is None else _lines_by_odds(listed),
        no_odds=NO_ODDS if _lacks_odds(ahead) else "",
        start=start_section(visit.house.desk.gear.start(visit.now), "", whole=True),
        # where the end is in sight its section tells what the days rest on
        rests=() if section is not None else tuple(reckoned_lines(ahead)),
        sections=() if listed is None else tuple(recovery_sections(listed, visit.times, "")),
        fault=f"The list can't be told: {ended(ahead.fault)}" if listed is None else "",
        notes=(STAYS, EVENLY, STACKED) if listed is not None and listed.not_home else (),
        out=listed is not None and bool(listed.not_home),
        dated=listed is not None and listed.take_up is not None,
    )


def _ahead(visit: Visit) -> SeasonAhead:
    """With the trips at any time of the year, and the odds only where a letter kept them: nothing is drawn.

    What was kept beside a call goes with it.
    """
    season = visit.house.desk.season
    ahead = season.between(visit.now, trips_always=True, draws=False)
    if _by_call(ahead) and counting_call(visit) is None:
        return season.between(visit.now, trips_always=True, draws=False, anew=True)
    return ahead


def _by_call(ahead: SeasonAhead) -> bool:
    return ahead.odds is not None and ahead.odds.reckoned_from.today is TodayCounts.CALLED


def _lines_by_odds(listed: RecoveryList) -> tuple[str, ...]:
    """Lines of the list that name days by the odds."""
    trips = (f"{trip_words(trip, listed.today)}." for trip in listed.trips)
    return (*starts_words(listed.starts, listed.today), *trips)


def _lacks_odds(ahead: SeasonAhead) -> bool:
    if ahead.odds is not None or ahead.lacking or ahead.recovery is None or not ahead.in_sight:
        return False
    return bool(ahead.recovery.fishing) and (ahead.days_left or 0) >= 0


def _listed(visit: Visit) -> tuple[RecoveryList, LetterFacts]:
    ahead = _ahead(visit)
    if ahead.recovery is None:
        raise HTTPException(503, f"The list can't be told: {ended(ahead.fault)}")
    return ahead.recovery, visit.house.desk.facts(visit.today, visit.now)


def _sheet(visit: Visit) -> Response:
    return HTMLResponse(recovery_sheet(*_listed(visit), style_url=_STYLE))


def _sheet_style(_visit: Visit) -> Response:
    return Response(sheet_css(), media_type="text/css")


def _file(
    name: str, media_type: str, make: Callable[[RecoveryList, LetterFacts], bytes | None]
) -> Callable[[Visit], Response]:
    def answer(visit: Visit) -> Response:
        content = make(*_listed(visit))
        if content is None:
            raise HTTPException(404, "There is no calendar: no day is known by which traps must be out.")
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return Response(content, media_type=media_type, headers=headers)

    return answer


WAYS = (
    Way("/season", get=_season),
    Way("/season/sheet", get=_sheet),
    Way(_STYLE, get=_sheet_style),
    Way("/season/recovery.csv", get=_file("recovery.csv", "text/csv", recovery_csv)),
    Way("/season/recovery.gpx", get=_file("recovery.gpx", "application/gpx+xml", recovery_gpx)),
    Way("/season/recovery.ics", get=_file("take-up.ics", "text/calendar", take_up_ics)),
)
