"""What the demo shows: the night, the days in a table and one letter on the terminal, and letters as files."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default as mail_policy
from pathlib import Path
from typing import TYPE_CHECKING, cast
from urllib.parse import urlsplit

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from demo.story import Story
from soakbell.letters.figures import past_limit_short
from soakbell.letters.times import HarborTimes, day_words
from soakbell.letters.words import Teller, listed, off_water_at
from soakbell.planning.call import Call, CallWord

if TYPE_CHECKING:
    from demo.forecast_server import Asked
    from demo.play import PlayedDay

INVENTED = "INVENTED DATA, for show: boat, weather, warnings and log are made up. Not a forecast of any real day."
_ROUND_ENDS = timedelta(minutes=4)
NARROWEST = 120  # columns of the table where the output is no terminal
_STYLES = {CallWord.PULL: "bold green", CallWord.WAIT: "bold", CallWord.NO_CALL: "bold reverse"}
_OF_CALLS = ("morning", "changed")
_NOT_HOME = re.compile(r"[0-9]+ traps? (?:is|are) not home: ([^.]+)\.")
_LAST_DAY = re.compile(r"(?:All must be out by|The last day for traps in the water,) \w+ ([0-9]+ \w+)")
_START = re.compile(r"If you start (today|tomorrow),.*? with a chance of ((?:over |under )?[0-9]+%)")
_SUFFIXES = {"image/png": "png", "text/calendar": "ics", "application/gpx+xml": "gpx", "text/csv": "csv"}


class Terminal:
    """Writes to standard output; a progress bar stands there while the days are played."""

    def __init__(self, story: Story, days: int) -> None:
        self._scenario = story.scenario
        self._of_season_end = story.of_season_end
        self._days = days
        self._console = Console(highlight=False, markup=False)
        if not self._console.is_terminal:
            self._console.width = NARROWEST
        self._bar: Progress | None = None

    @contextmanager
    def progress(self) -> Iterator[None]:
        self._console.print(Text(INVENTED, style="bold"), soft_wrap=True)
        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TextColumn("mornings"))
        with Progress(*columns, console=self._console, transient=True) as self._bar:
            self._bar.add_task("playing", total=self._days)
            yield

    def advance(self, played: PlayedDay) -> None:
        assert self._bar is not None
        self._bar.update(self._bar.task_ids[0], advance=1, description=f"played {day_words(played.day)}")

    def tell(self, played: Sequence[PlayedDay], out: Path, written: Sequence[Path]) -> None:
        first = played[0]
        self._head(f"The night to {day_words(first.day)}")
        for line in self._night(first):
            self._console.print(line, soft_wrap=True)
        mornings = [caught for caught in first.letters if kind_of(caught.message) == "morning"]
        if mornings:
            self._head("Its letter, as it came over SMTP")
            self._console.print(text_of(mornings[0].message), soft_wrap=True)
        self._head(f"{len(played)} mornings" if len(played) > 1 else "The morning")
        self._console.print(self._table(played))
        self._head("What else came by mail")
        self._console.print(self._others(played))
        if self._of_season_end:
            self._season_end(played)
        self._console.print(INVENTED, soft_wrap=True)
        self._console.print(f"{len(written)} files of {_letters(played)} are in {out}", soft_wrap=True)

    def _head(self, title: str) -> None:
        self._console.print()
        self._console.print(Rule(Text(title), align="left"))

    def _night(self, played: PlayedDay) -> list[str]:
        """What the service asked and sent, a line an event, in the order of time."""
        told: list[tuple[datetime, str]] = []
        letter_at = played.calls[0].made_at if played.calls else None
        for asks in _rounds(played.asked):
            if letter_at is None or asks[0].at < letter_at:
                told.append((asks[0].at, f"asked the sources {len(asks)} times, {_good(asks)} good answers"))
                told += [
                    (ask.at, f"  {ask.status} {ask.what}: {urlsplit(ask.path).path}") for ask in _refused(asks)
                ]
        if letter_at is not None:
            told.append((letter_at, f"letter written: {played.calls[0].word.value}"))
            told += [(at, "  451: the mail server puts it off") for at in played.put_off]
            told += [
                (caught.at, f"{kind_of(caught.message)} letter accepted by the mail server")
                for caught in played.letters
            ]
            watch = [ask for ask in played.asked if ask.at > letter_at]
            if watch:
                line = f"watched the call until now: asked {len(watch)} times, {_good(watch)} good answers"
                told.append((watch[-1].at, line))
        return [
            f"{self._scenario.local(at):%a %H:%M:%S}  {line}"
            for at, line in sorted(told, key=lambda event: event[0])
        ]

    def _table(self, played: Sequence[PlayedDay]) -> Table:
        table = Table(box=SIMPLE_HEAD, pad_edge=False, expand=False)
        for name in ("Day", "Call", "Window", "Strings", "Why", "Letters"):
            table.add_column(
                name, no_wrap=name in ("Day", "Window"), justify="right" if name == "Letters" else "left"
            )
        for day in played:
            for number, call in enumerate(day.calls):
                table.add_row(*self._row(day, call, number))
        return table

    def _others(self, played: Iterable[PlayedDay]) -> Table:
        """Every letter that tells no call: of the eve, of bells, of bait."""
        table = Table(box=SIMPLE_HEAD, pad_edge=False, expand=False)
        for name in ("Came", "To", "Subject"):
            table.add_column(name, no_wrap=name == "Came")
        for caught in (caught for day in played for caught in day.letters):
            if kind_of(caught.message) not in _OF_CALLS:
                came = self._scenario.local(caught.at)
                table.add_row(f"{came:%a %d %H:%M}", ", ".join(caught.addresses), subject_of(caught.message))
        return table

    def _season_end(self, played: Sequence[PlayedDay]) -> None:
        """What each morning letter tells of the traps and their odds, and the last list of traps not home."""
        self._head("Season's end, as the morning letters tell it")
        table = Table(box=SIMPLE_HEAD, pad_edge=False, expand=False)
        for name in ("Day", "Not home", "All out by", "In time if begun today", "Tomorrow"):
            table.add_column(name)
        letters = [caught.message for day in played for caught in day.letters]
        for message in letters:
            if kind_of(message) == "morning":
                table.add_row(day_words(_day_of(message)), *told_of_season(text_of(message)))
        self._console.print(table)
        lists = [message for message in letters if kind_of(message) == "recovery"]
        if lists:
            self._head("The last recovery list")
            self._console.print(text_of(lists[-1]), soft_wrap=True)

    def _row(self, played: PlayedDay, call: Call, number: int) -> tuple[Text | str, ...]:
        times = HarborTimes(self._scenario.zone_name, call.day)
        word = Text(call.word.value, style=_STYLES[call.word])
        if number:
            word = Text("CHANGED CALL ", style="bold") + word
        window = strings = ""
        if call.window is not None:
            window = f"{times.hour(call.window.leaves_at)}-{times.hour(off_water_at(call.window))}"
            strings = listed(pull.string for pull in call.window.pulls)
        of_calls = [caught for caught in played.letters if kind_of(caught.message) in _OF_CALLS]
        letters = f"{len(of_calls)}" if number == 0 else ""
        return (day_words(call.day) if number == 0 else "", word, window, strings, _why(call, times), letters)


def _why(call: Call, times: HarborTimes) -> str:
    """The reason the letter heads its call with; of a PULL, the limit that comes nearest."""
    if call.window is not None and call.window.binding is not None:
        nearest = call.window.binding
        return f"nearest: {past_limit_short(nearest.quantity, nearest.value, nearest.limit)}"
    teller = Teller(times, call.sources)
    if not call.reasons:
        return ""
    return teller.tell(teller.deciding(call.reasons, known=call.word is not CallWord.NO_CALL)).short


def told_of_season(text: str) -> tuple[str, str, str, str]:
    """Traps not home, the last day for them, and the chances of being done by it; empty where none is told."""
    _, _, section = text.partition("\nSeason's end\n")
    told = " ".join(section.split())
    not_home, last_day = _NOT_HOME.search(told), _LAST_DAY.search(told)
    chances = dict(_START.findall(told))
    return (
        "" if not_home is None else not_home[1],
        "" if last_day is None else last_day[1],
        chances.get("today", ""),
        chances.get("tomorrow", ""),
    )


def _letters(played: Iterable[PlayedDay]) -> str:
    count = sum(len(day.letters) for day in played)
    return f"{count} letter" if count == 1 else f"{count} letters"


def _rounds(asked: Sequence[Asked]) -> Iterator[list[Asked]]:
    """Requests of one poll: between two polls the service rests longer than between its tries."""
    asks: list[Asked] = []
    for ask in asked:
        if asks and ask.at - asks[-1].at > _ROUND_ENDS:
            yield asks
            asks = []
        asks.append(ask)
    if asks:
        yield asks


def _refused(asks: Sequence[Asked]) -> list[Asked]:
    return [ask for ask in asks if ask.status >= 400]


def _good(asks: Sequence[Asked]) -> int:
    return len(asks) - len(_refused(asks))


# ---- Letters as files -------------------------------------------------------------------------------------


def text_of(message: bytes) -> str:
    """The letter's text part, its subject above it."""
    return f"Subject: {subject_of(message)}\n\n{_part(_parsed(message), 'plain')}"


def subject_of(message: bytes) -> str:
    return str(_parsed(message)["Subject"]).strip()


def kind_of(message: bytes) -> str:
    """The kind of letter, as its Message-ID begins."""
    return _named(_parsed(message))[0]


def _day_of(message: bytes) -> date:
    return date.fromisoformat(_named(_parsed(message))[1])


def _named(letter: EmailMessage) -> tuple[str, str, int]:
    """Kind, day and turn, as a Message-ID begins with them."""
    kind, day, turn = str(letter["Message-ID"]).strip("<").split(".")[:3]
    return kind, day, int(turn)


def write_letter(message: bytes, out: Path) -> list[Path]:
    """Write a letter and its parts into ``out``; the page shows its picture from the file beside it."""
    letter = _parsed(message)
    kind, day, turn = _named(letter)
    stem = f"invented-data-{day}-{kind}" + (f"-{turn}" if turn > 1 else "")
    files: dict[str, bytes] = {f"{stem}.eml": message, f"{stem}.txt": text_of(message).encode()}
    page = _part(letter, "html")
    for part in letter.walk():
        suffix = _SUFFIXES.get(part.get_content_type())
        if suffix is not None:
            files[f"{stem}.{suffix}"] = cast(bytes, part.get_payload(decode=True))
            cid = str(part.get("Content-ID", "")).strip("<>")
            page = page.replace(f"cid:{cid}", f"{stem}.{suffix}") if cid else page
    files[f"{stem}.html"] = page.encode()
    for name, content in files.items():
        (out / name).write_bytes(content)
    return [out / name for name in sorted(files)]


def _parsed(message: bytes) -> EmailMessage:
    return message_from_bytes(message, policy=mail_policy)


def _part(letter: EmailMessage, kind: str) -> str:
    body = letter.get_body((kind,))
    if body is None:
        raise ValueError(f"the letter {letter['Subject']!r} has no {kind} part")
    return str(body.get_content()).replace("\r\n", "\n")
