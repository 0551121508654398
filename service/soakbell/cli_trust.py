"""``soakbell trust`` and ``soakbell replay``: how far forecasts and calls could be trusted, days made again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soakbell.cli_files import write_file
from soakbell.cli_page import figures_table, print_figures
from soakbell.cli_telling import settings_of

if TYPE_CHECKING:
    from rich.table import Table

    from soakbell.letters.times import HarborTimes
    from soakbell.planning.call import Call
    from soakbell.replaying import ReplayedDay
    from soakbell.sea.trust import BrierParts, CallTally, ErrorModel
    from soakbell.sea.trust_record import SeenDay, TrustRecord

REPLAY_DAYS = 7
_MEND_DAYS = 30


def trust(
    ctx: typer.Context,
    again: Annotated[
        bool, typer.Option("--again", help="Look back now, instead of telling what was found last night.")
    ] = False,
    png: Annotated[
        Path | None,
        typer.Option("--png", help="Also draw how chances came true, into this file.", metavar="FILE"),
    ] = None,
) -> None:
    """How far forecasts were off, what came of the days called, and how chances turned out.

    Example: soakbell trust --png trust.png
    """
    from soakbell.clock import SystemClock
    from soakbell.letters.trust import chance_words, errors_note, past_words, prior_words, rests_on, score_words
    from soakbell.sea.trust_record import record_of
    from soakbell.trusting import error_models, kept_record, trust_terms
    from soakbell.wiring import build

    settings = settings_of(ctx)
    terms = trust_terms(settings)
    house = build(settings)
    try:
        record = "" if again else kept_record(settings, house.store, terms, SystemClock().now())
        if isinstance(record, str):
            if record:
                typer.echo(f"{record}; looking back now", err=True)
            record = house.desk.look_back()
    finally:
        house.close()
    models = error_models(settings, record, terms)
    _head(f"Days called, {settings.boat.name}")
    counts = record_of(record.days)
    print_figures(_called_table(record.days))
    _lines((*past_words(record.days), *score_words(counts, record.first_day), *_scores(counts)))
    _head("How far off the forecasts were")
    if record.errors:
        _lines((errors_note(record),), mark="")
        print_figures(_errors_table(record, models, terms.models()))
        print_figures(_sources_table(record))
    _lines(prior_words(models))
    _head("How chances turned out")
    if record.chances is not None:
        print_figures(_chances_table(record.chances))
    _lines(chance_words(record), mark="")
    _head("What this rests on")
    _lines(rests_on(record))
    if png is not None:
        _draw(png, record, settings.boat.name)


def replay(
    ctx: typer.Context,
    first: Annotated[
        str | None,
        typer.Option("--from", help=f"As 2026-12-01. Default: so that it is {REPLAY_DAYS} days.", metavar="DAY"),
    ] = None,
    last: Annotated[str | None, typer.Option("--to", help="Default: yesterday.", metavar="DAY")] = None,
) -> None:
    """Make past calls again, from the replies and the log as they were, by today's program and settings.

    Beside each stands what was called then, and what the sea did. Nothing is stored or sent.

    Example: soakbell replay --from 2026-12-01 --to 2026-12-14
    """
    from datetime import time

    from soakbell import __version__
    from soakbell.clock import SystemClock
    from soakbell.due_times import due_at, local_day
    from soakbell.errors import Fault, LogRefused
    from soakbell.letters.times import HarborTimes
    from soakbell.replaying import replay_days
    from soakbell.trusting import measured_sea
    from soakbell.wiring import build

    settings = settings_of(ctx)
    now, zone = SystemClock().now(), settings.harbor.time_zone
    to = _day("--to", last) or local_day(now, zone) - timedelta(days=1)
    since = _day("--from", first) or to - timedelta(days=REPLAY_DAYS - 1)
    if to < since:
        found = f"{to}, before {since}"
        raise LogRefused([Fault("replay", "--to", found, "the same day as --from or a later one")])
    house = build(settings)
    try:
        moved = house.desk.sources.on_hand(now).moved
        # Files that came later still tell of the time, with its numbers checked.
        begins, by = (due_at(day, time(0), zone) for day in (since, to + timedelta(days=_MEND_DAYS)))
        sea = measured_sea(settings, house.store, begins, by, moved=moved)
        days, unread = replay_days(settings, house.store, since, to, sea, code_version=__version__)
    finally:
        house.close()
    if not days and not unread:
        typer.echo(f"no call of {settings.boat.name} is on record from {since} to {to}")
        return
    if days:
        print_figures(_replay_table(days, zone))
    for told in days:
        _lines(_differences(told, HarborTimes(zone, told.day)))
    _lines(unread)
    _lines((*sea.problems, *_judged_by(bool(sea.hourly)), _summary(days)))


# ---- trust


def _called_table(days: Sequence[SeenDay]) -> Table:
    table = figures_table("called", "days", "fit", "fit as far\nas measured", "not fit", "not told")
    for word in ("PULL", "WAIT", "NO CALL"):
        of = [seen for seen in days if seen.word == word and seen.had_trip]
        as_far = sum(seen.as_far for seen in of)
        fit, not_fit, not_told = (sum(seen.fit is fit for seen in of) for fit in (True, False, None))
        table.add_row(word, *(str(count) for count in (len(of), fit - as_far, as_far, not_fit, not_told)))
    return table


def _scores(counts: CallTally) -> Iterable[str]:
    table = counts.contingency
    if table.n:
        found = (("Peirce", table.peirce), ("Heidke", table.heidke), ("critical success", table.critical_success))
        scores = "; ".join(f"{name} {'not known' if score is None else f'{score:.2f}'}" for name, score in found)
        counted = (
            (table.hits, "hit", "hits"),
            (table.misses, "miss", "misses"),
            (table.false_alarms, "false call", "false calls"),
            (table.correct_negatives, "right wait", "right waits"),
        )
        told = ", ".join(f"{count} {one if count == 1 else more}" for count, one, more in counted)
        far = " as far as measured" if counts.as_far else ""
        yield f"PULL and WAIT against fit{far} and not: {told}. Of 1 at best: {scores}."


def _errors_table(
    record: TrustRecord, models: Mapping[str, ErrorModel], priors: Mapping[str, ErrorModel]
) -> Table:
    """The worst of all sources, as the plan takes it, beside the prior."""
    from soakbell.letters.trust import error_tables

    table = figures_table("", "ahead", "measured", "give or\ntake", "days", "plan\nreckons with", "prior alone")
    tables = (error_tables(record, each) for each in (models, priors))
    for found, prior in zip(*tables, strict=True):
        for row, bare in zip(found.rows, prior.rows, strict=True):
            name = found.title if row is found.rows[0] else ""
            table.add_row(name, row.ahead, row.measured, row.spread, row.days, row.reckoned, bare.reckoned)
        table.add_section()
    return table


def _sources_table(record: TrustRecord) -> Table:
    """Each source by itself, in its first day."""
    from soakbell.letters.trust import SOURCES, error_title, error_words

    table = figures_table("first day ahead", "source", "measured", "pairs", "days")
    for found in record.errors:
        if found.from_h == 0 and found.source in SOURCES:
            name = error_title(record, found.quantity, found.area)
            table.add_row(name, SOURCES[found.source], error_words(found), str(found.pairs), str(found.days))
    return table


def _chances_table(parts: BrierParts) -> Table:
    table = figures_table("chance given", "given", "days", "came", "share", "true share,\n4 times in 5")
    for row in parts.rows:
        span = f"{row.from_chance:.0%} to {row.to_chance:.0%}"
        bounds = f"{row.low:.0%} to {row.high:.0%}"
        table.add_row(span, str(row.given), str(row.days), str(row.came), f"{row.share:.0%}", bounds)
    return table


def _draw(file: Path, record: TrustRecord, boat: str) -> None:
    from soakbell.letters.trust import picture_of

    picture = picture_of(record, boat)
    if picture is None:
        typer.echo("no picture: no chance could be held against a day that came")
        return
    write_file("trust", "--png", file, picture, done="drawn")


# ---- replay


def _replay_table(days: Sequence[ReplayedDay], zone_name: str) -> Table:
    from soakbell.letters.times import HarborTimes, day_words

    table = figures_table("day", "called then", "called by today's\nprogram and settings", "the sea then")
    for told in days:
        times = HarborTimes(zone_name, told.day)
        words = _call_words(told.then, times), _now_words(told, times), _sea_words(told.seen)
        table.add_row(day_words(told.day), *words)
    return table


def _call_words(call: Call, times: HarborTimes) -> str:
    from soakbell.letters.words import called

    if call.window is None:
        return called(call)
    strings = ", ".join(pull.string for pull in call.window.pulls)
    return f"{called(call)} {times.span(call.window.leaves_at, call.window.lands_at)}\n{strings}"


def _now_words(told: ReplayedDay, times: HarborTimes) -> str:
    if told.now is None:
        return "can't be told"
    if told.exact:
        return "the same"
    words = _call_words(told.now, times)
    return f"{words}, otherwise" if words != _call_words(told.then, times) else "the same, for other reasons"


def _sea_words(seen: SeenDay) -> str:
    from soakbell.letters.figures import past_limit_short
    from soakbell.letters.trust import measured_words

    if seen.fit is None:
        return "not told by any measurement"
    far = f" as far as measured\n({measured_words([seen])})" if seen.as_far else ""
    if seen.word != "PULL":
        idle = "" if seen.had_trip else "\n(nothing was to be hauled)"
        return f"{'fit' if seen.fit else 'not fit'} for a short trip{far}{idle}"
    if seen.fit:
        return f"inside the limits{far}"
    past = [past_limit_short(found.quantity, found.most, found.limit) for found in seen.past]
    return "\n".join(("OUTSIDE the limits", *past))


def _differences(told: ReplayedDay, times: HarborTimes) -> Iterable[str]:
    """Why a day is not the same, in a sentence; nothing where it is."""
    from soakbell.letters.times import day_words

    day = day_words(told.day)
    if told.calls > 1:
        yield f"{day}: {told.calls} calls were told; the one that stood when the boat was to leave is shown."
    if told.now is None:
        yield f"{day}: {told.why_not}."
        return
    if told.exact:
        return
    changed = [
        *([] if told.same_settings else ["the settings or the fishery file"]),
        *([] if told.same_program else ["the program"]),
    ]
    why = f"{' and '.join(changed)} changed since" if changed else "neither the settings nor the version changed"
    then, now = (_call_words(call, times).replace("\n", ": ") for call in (told.then, told.now))
    what = "the same call for other reasons" if then == now else f"{then} then, {now} today"
    yield f"{day}: {what}; {why}."


def _judged_by(seen: bool) -> Iterable[str]:
    if seen:
        return ("The sea is judged by what the areas' stations measure alone, and by the limits of each call.",)
    return ("The sea can't be told: no area has a station that measured anything in that time.",)


def _summary(days: Sequence[ReplayedDay]) -> str:
    same = sum(told.exact for told in days)
    lost = sum(told.now is None for told in days)
    other = len(days) - same - lost
    told = [f"{same} the same to the last number", f"{other} not the same"]
    return f"Of {len(days)} days {', '.join(told)}{f', {lost} that cannot be made again' if lost else ''}."


def _day(option: str, text: str | None) -> date | None:
    from soakbell.errors import Fault, LogRefused

    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise LogRefused([Fault("replay", option, repr(text), 'a day, as "2026-12-01"')]) from None


# ---- print


def _head(text: str) -> None:
    from rich.console import Console
    from rich.text import Text

    Console().print(Text(f"\n{text}", style="bold"))


def _lines(lines: Iterable[str], *, mark: str = "- ") -> None:
    from rich.console import Console

    console = Console()
    for line in lines:
        console.print(f"{mark}{line}", markup=False, highlight=False)
