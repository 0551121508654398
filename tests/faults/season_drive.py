"""Drives the service through the days of a season: ``season_run`` tells what it is. INVENTED DATA."""

from __future__ import annotations

import asyncio
import heapq
import random
import re
import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from pathlib import Path

from demo.demo_boat import demo_settings
from demo.season_end import DECK_TRAPS
from demo.weather import Weather
from sqlalchemy import func, select

from faults.bad_forecasts import BadForecasts, ForecastFault, serving
from faults.bad_luck import Chooser, either, in_spells
from faults.bad_mail import BadMail
from faults.season_checks import CHANGED, MORNING, PULL, Kept, sizes_now
from faults.season_life import Hurt, Life, SharedClock, Swept
from faults.season_luck import (
    FORECAST_CHANCES,
    MAIL_CHANCES,
    SET_BACK_BY,
    TOGETHER_CHANCES,
    DayLuck,
    LookFault,
    luck_of,
)
from faults.season_oracle import Oracle, Served
from faults.season_skipper import SeasonSkipper
from faults.season_told import Told
from faults.season_way import Called, Haul
from faults.season_weather import OPENING_EVE, season_weather
from soakbell.call_record import from_record
from soakbell.due_times import due_at, local_day
from soakbell.gear.log import LogEntry
from soakbell.planning.call import Call
from soakbell.settings import Settings, load_settings
from soakbell.store.backup import back_up, restore
from soakbell.store.engine import Store
from soakbell.store.log import take_entries
from soakbell.store.schema import CallRow, DueRow, RecipientRow
from soakbell.wiring import open_database

ALWAYS = (time(3, 25), time(4, 25), time(4, 30), time(4, 32), time(4, 38), time(6, 5), time(9, 5))
EVENING = (time(17, 25), time(17, 55), time(18, 0), time(18, 2), time(18, 15))
RANDOM_BETWEEN = (
    (time(0, 5), time(3, 0)),
    (time(4, 40), time(6, 0)),
    (time(12), time(16)),
    (time(20), time(23, 30)),
)
TOLD_AT_NIGHT = time(18, 20)
LOOKS = 5  # of those that are due while a trip is watched
MOST_LOOKS = 8  # where they fail
MOST_IN_VAIN = 4  # as the sweep's pace has it: past so many looks that failed, no call stands
SET_BACK_UNSEEN = timedelta(minutes=3)
SET_BACK_FOR = timedelta(minutes=10)
SERVERS_START_S = 30.0
TOO_LATE_TO_LOOK = timedelta(minutes=31)  # a look is due each half hour
MOST_TRIES = 14  # due times of a day that are stepped to besides
LONG_LIFE = (0.35, 0.75)  # share of the season in which nothing kills the service, to see its memory


class Driver:
    """Steps the clock through the days."""

    def __init__(
        self,
        seed: int,
        settings: Settings,
        clock: SharedClock,
        forecasts: BadForecasts,
        mail: BadMail,
        weather: Weather,
        plant: Callable[[], None] | None,
    ) -> None:
        self._seed = seed
        self._settings = settings
        self._zone = settings.harbor.time_zone
        self._clock = clock
        self._forecasts = forecasts
        self._mail = mail
        self._served = Served(weather)
        self._oracle = Oracle(weather, self._served)
        self._plant = plant
        self._store: Store = open_database(settings)
        self._life: Life | None = None
        self._back_at = clock.true_now()
        self._last_call_id = 0
        self._calls: dict[date, list[tuple[Call, datetime]]] = {}
        self._stands: dict[date, tuple[Call, datetime] | None] = {}
        self._wrongs = [(clock.true_now(), timedelta())]
        self._newest_shown = clock.true_now()
        self._entries: list[tuple[datetime, Sequence[LogEntry]]] = []
        self._backup: tuple[Path, datetime] | None = None
        self._restored_at: datetime | None = None
        self._told_standing: set[date] = set()
        self.skipper = SeasonSkipper(seed, settings.trap_strings, self._zone, clock.true_now, self._tell)
        self.kept = Kept()
        self.skipper.set_out()

    def play(self, day: date, luck: DayLuck) -> None:
        """From midnight to midnight."""
        dice = random.Random(f"{self._seed} moments {day}")
        self._luck, self._sweep_no, self._tries, self._in_vain = luck, 0, 0, 0
        self._full_until = self._clock.true_now()
        queue = [self._at(day, at) for at in (*ALWAYS, *EVENING)]
        queue += [
            self._at(day, begins) + dice.random() * (self._at(day, ends) - self._at(day, begins))
            for begins, ends in RANDOM_BETWEEN
        ]
        heapq.heapify(queue)
        skipper_at = self._at(day, TOLD_AT_NIGHT)
        home_at: datetime | None = None
        looks_planned = told = False
        while queue:
            moment = heapq.heappop(queue)
            if not told and moment > skipper_at:
                told = True
                self._clock.put(skipper_at)
                self._evening(day)
            if home_at is not None and moment > home_at:
                self._go_home(day, home_at)
                home_at = None
            self._step(moment, day)
            call = self._standing(day)
            if not looks_planned and call is not None:
                looks_planned, home_at = True, call.window.lands_at + timedelta(minutes=30)
                for look in self._looks(dice, call):
                    heapq.heappush(queue, look)
            if (again := self._next_due(day)) is not None and again not in queue:
                heapq.heappush(queue, again)
        self._close(day)

    def close(self) -> None:
        """End the service in order, and look at all of it once more."""
        self._revive()
        held = self._life.held()
        self.kept.compare(None, self._store, self._settings.trap_strings, held, None)
        if not self._life.end():
            self.kept.broken.append("the service did not end in order")
        self._store.close()

    # ---- one step

    def _step(self, moment: datetime, day: date) -> None:
        self._clock.put(moment)
        now = self._clock.true_now()
        self._set_clock(now)
        if self._life is None:
            if now < self._back_at:
                return
            self._revive()
        number = self._sweep_no
        self._sweep_no += 1
        hurt, shown = self._hurt(number, now), self._clock.now()
        with self._locked(self._luck.locked.get(number)):
            swept = self._life.sweep(hurt)
        self.kept.sweeps += 1
        self._note_clock(now)
        writes = number not in self._luck.locked and not hurt.full_disk
        if writes:
            self._newest_shown = max(self._newest_shown, shown)
        if swept is None:
            self._died(now, hurt)
        self._served.read(self._forecasts.asked, self._whole(swept))
        self._judge()
        right = writes and not self._clock.wrong_by and not hurt.set_back
        self._watch_over(day, now, hurt, swept, right=right)
        if self._luck.restored is not None and not self._clock.wrong_by:
            self._back_up_or_restore(number, day)

    def _hurt(self, number: int, now: datetime) -> Hurt:
        luck = self._luck
        if luck.full is not None and number == luck.full[0]:
            self._full_until = now + timedelta(minutes=luck.full[1])
        full = now < self._full_until
        if full:
            self.kept.troubles["disk full"] += 1
            self.kept.full.append(now)
        looks = None if luck.looks is None or now < self._at(self._day_of(now), luck.looks[1]) else luck.looks[0]
        dies_at = 0 if looks is LookFault.DIES else luck.dies.get(number, 0)
        set_back = number in luck.set_back and not self._clock.wrong_by
        return Hurt(dies_at, looks, full, set_back)

    def _died(self, now: datetime, hurt: Hurt) -> None:
        self.kept.troubles["process died"] += 1
        self.kept.upset.append(now)
        self._life, self._back_at = None, now + timedelta(minutes=self._luck.away_min)
        if hurt.looks is LookFault.DIES:
            self._back_at = now + timedelta(minutes=1)
        elif hurt.dies_at == 0:
            self.kept.broken.append(f"{now:%d %b %H:%M}: the service died by itself")

    def _whole(self, swept: Swept | None) -> dict[str, list[bool]]:
        return (
            {} if swept is None else {url.removeprefix(self._forecasts.base): n for url, n in swept.asked.items()}
        )

    def _revive(self) -> None:
        if self._life is None:
            self._life = Life(
                self._settings.path, self._clock, self._settings.path.parent.parent / "errors.log", self._plant
            )
            self.kept.lives.append([])

    def _set_clock(self, now: datetime) -> None:
        wrong = self._luck.wrong
        if wrong is not None and self._sweep_no == wrong[0] and not self._clock.wrong_by:
            self._clock.wrong_by = wrong[1]
            self._right_at = now + timedelta(minutes=wrong[2])
            self.kept.troubles["clock wrong"] += 1
            self.kept.wrong_on |= {self._day_of(now), self._day_of(now + wrong[1])}
        elif self._clock.wrong_by and now >= self._right_at:
            self._clock.wrong_by = timedelta()
        self._note_clock(now)

    def _note_clock(self, now: datetime) -> None:
        """Put down by how much the clock is wrong from now on, where that is new: a sweep may set it back."""
        wrong_by = self._clock.wrong_by
        if wrong_by == self._wrongs[-1][1]:
            return
        self._wrongs.append((now, wrong_by))
        if wrong_by and wrong_by == SET_BACK_BY:
            self._right_at = now + SET_BACK_FOR
            self.kept.troubles["clock set back while writing"] += 1
            self.kept.wrong_on.add(self._day_of(now))

    def _back_up_or_restore(self, number: int, day: date) -> None:
        """A skipper restores with the service stopped, and tells the log again what the backup lacks."""
        assert self._luck.restored is not None
        database, now = self._settings.database, self._clock.true_now()
        if number == self._luck.restored[0]:
            to = self._settings.path.parent.parent / "kept-apart.sqlite3"
            self._backup = (back_up(database, to).file, now)
        if number != self._luck.restored[1] or self._backup is None:
            return
        if self._life is not None and not self._life.end():
            self.kept.broken.append("the service did not end in order before a restore")
        self._life, self._back_at = None, now
        self._clock.put(now + timedelta(minutes=1))
        now = self._clock.true_now()
        backup, made_at = self._backup
        self._store.close()
        former = restore(backup, database, now=self._clock.now())
        self._store = open_database(self._settings)
        assert former is not None
        former.unlink()
        self.kept.troubles["restored"] += 1
        self.kept.upset.append(now)
        self.kept.restored.append((self._day_of(made_at), day))
        for told_at, entries in self._entries:
            if told_at >= made_at:
                take_entries(self._store, entries, self._settings.trap_strings, now)
        self._newest_shown, self._in_vain = made_at, 0
        self._restored_at = now
        self._served.forget(now)
        with self._store.reading() as session:
            self._last_call_id = session.scalar(select(func.max(CallRow.id))) or 0
            row = session.scalar(select(CallRow).where(CallRow.day == day).order_by(CallRow.id.desc()).limit(1))
            self._stands[day] = None if row is None else (from_record(row.detail)[0], row.made_at)

    @contextmanager
    def _locked(self, seconds: float | None) -> Iterator[None]:
        """Another program holds the database for so long, or until the block ends."""
        if seconds is None:
            yield
            return
        self.kept.troubles["database locked"] += 1
        self.kept.upset.append(self._clock.true_now())
        holder = sqlite3.connect(self._settings.database, isolation_level=None, check_same_thread=False)
        holder.execute("BEGIN IMMEDIATE")
        let_go = threading.Timer(seconds, holder.rollback)
        let_go.start()
        try:
            yield
        finally:
            let_go.join()
            holder.close()

    # ---- what the calls say

    def _judge(self) -> None:
        with self._store.reading() as session:
            rows = session.scalars(
                select(CallRow).where(CallRow.id > self._last_call_id).order_by(CallRow.id)
            ).all()
        for row in rows:
            self._last_call_id = row.id
            call, _ = from_record(row.detail)
            true_at = row.made_at - self._clock.wrong_by
            self._calls.setdefault(row.day, []).append((call, true_at))
            self._stands[row.day] = call, true_at
            if row.word == PULL:
                self.kept.pulls_judged += 1
                broken = self._oracle.against(_called(call), true_at)
                if row.made_at < self._newest_shown - SET_BACK_UNSEEN:
                    broken.append(f"written by a clock that had shown {self._newest_shown:%H:%M} UTC")
                self.kept.broken_pulls += [f"{row.day} {call.made_at:%H:%M} UTC: {why}" for why in broken]

    def judge_letters(self) -> None:
        """Hold each PULL that arrived against what the sources had served when it was written."""
        for letter in self.kept.letters:
            if letter.kind in (MORNING, CHANGED) and letter.word != "WAIT" and letter.word != "NO CALL":
                self.kept.pulls_told += 1
                self.kept.broken_pulls += [f"letter of {letter.day}: {why}" for why in self._against(letter)]

    def _against(self, letter: Told) -> list[str]:
        """Whenever it may have been written, if its clock was wrong: why it may not say PULL."""
        called = letter.called
        if letter.word != PULL or called is None:
            return [f"{letter.subject!r} and its text tell no trip"]
        shown = letter.written_at + timedelta(seconds=1)  # a Date has whole seconds
        ends = [*(begins for begins, _ in self._wrongs[1:]), letter.at]
        moments = [
            min(shown - wrong_by, letter.at)
            for (begins, wrong_by), over in zip(self._wrongs, ends, strict=True)
            if begins <= shown - wrong_by <= min(over, letter.at) + timedelta(seconds=2)
        ]
        if not moments:
            return [f"written at {shown:%d %H:%M} UTC, which no clock had shown"]
        return min((self._oracle.against(called, at) for at in moments), key=len)

    def _watch_over(self, day: date, began: datetime, hurt: Hurt, swept: Swept | None, *, right: bool) -> None:
        """Whether a PULL still stands that a look must have taken back. ``right``: so far as the service could."""
        stands, now = self._stands.get(day), self._clock.true_now()
        if stands is None or stands[0].window is None or not right:
            return
        call, made_at = stands
        if hurt.looks is LookFault.DIES and swept is None:
            self._in_vain += 1
        if swept is not None:
            self._in_vain += swept.looks_failed
        why = f"{self._in_vain} looks in vain" if self._in_vain > MOST_IN_VAIN else ""
        if hurt.looks is None and swept is not None and began < call.window.lands_at - TOO_LATE_TO_LOOK:
            restored = self._restored_at is not None and made_at < self._restored_at
            since = began if restored else began - TOO_LATE_TO_LOOK
            if made_at < since:
                why = why or self._oracle.fell(_called(call), since, now)
        if why and day not in self._told_standing:
            self._told_standing.add(day)
            self.kept.left_standing.append(f"{day} {began:%H:%M} UTC: {why}")

    def _standing(self, day: date) -> Call | None:
        """The day's last call, while it is PULL."""
        stands = self._stands.get(day)
        return None if stands is None or stands[0].window is None else stands[0]

    def _looks(self, dice: random.Random, call: Call) -> list[datetime]:
        """Some of those that are due, and the last one that must take back a PULL that was barred before it; all
        from where they fail on."""
        every = timedelta(minutes=self._settings.letters.watch_every_min)
        due = []
        at = self._clock.true_now() + every
        while at < call.window.lands_at:
            due.append(at)
            at += every + timedelta(seconds=5)
        last = [at for at in due if at < call.window.lands_at - TOO_LATE_TO_LOOK][-1:]
        if self._luck.looks is not None:
            begins = self._at(call.day, self._luck.looks[1])
            return [at for at in due if at >= begins][:MOST_LOOKS]
        return sorted({*dice.sample(due, min(LOOKS, len(due))), *last})

    def _close(self, day: date) -> None:
        calls = self._calls.pop(day, [])
        self.kept.sizes.append(sizes_now(day, self._settings.database))
        self.kept.words[calls[0][0].word.value if calls else "none"] += 1
        self.kept.changed += any(call.word.value != calls[0][0].word.value for call, _ in calls[1:])
        if self._life is not None:
            held = self._life.held()
            self.kept.lives[-1].append((day, held.rss_bytes))
            if self.skipper.all_told:
                self.kept.compare(day, self._store, self._settings.trap_strings, held, self.skipper.counted)

    # ---- the skipper

    def _go_home(self, day: date, home_at: datetime) -> None:
        calls = self._calls[day]
        first = next(call for call, _ in calls if call.window is not None)
        out_at = first.window.leaves_at
        before = [call for call, made_at in calls if made_at <= out_at]
        if not before or before[-1].window is None:
            return
        called = before[-1]
        back = [made_at for call, made_at in calls if made_at > out_at and call.window is None]
        self._clock.put(home_at)
        self.skipper.trip(called, min(back, default=called.window.lands_at))

    def _evening(self, day: date) -> None:
        self.skipper.evening(day)
        wrong = self.skipper.slip()
        if wrong is not None:
            self._step(self._clock.true_now() + timedelta(minutes=2), day)
            self.skipper.take_back(wrong)

    def _tell(self, entries: Sequence[LogEntry]) -> None:
        self._entries.append((self._clock.true_now(), entries))
        take_entries(self._store, entries, self._settings.trap_strings, self._clock.true_now())
        self.kept.told += len(entries)

    # ---- times

    def _next_due(self, day: date) -> datetime | None:
        """When the next try of a letter is due today; None past the most that are stepped to."""
        waits = select(func.min(RecipientRow.next_try_at)).where(RecipientRow.state == "waiting")
        held = select(func.min(RecipientRow.claimed_until)).where(RecipientRow.state == "trying")
        writes = select(func.min(DueRow.claimed_until)).where(DueRow.state.in_(("due", "claimed")))
        with self._store.reading() as session:
            found = [at for each in (waits, held, writes) if (at := session.scalar(each)) is not None]
        if self._life is None:
            found.append(self._back_at)
        if not found or self._tries >= MOST_TRIES:
            return None
        at = max(min(found), self._clock.true_now() + timedelta(minutes=1))
        if self._day_of(at) != day:
            return None
        self._tries += 1
        return at

    def _at(self, day: date, at: time) -> datetime:
        return due_at(day, at, self._zone)

    def _day_of(self, at: datetime) -> date:
        return local_day(at, self._zone)


def _called(call: Call) -> Called:
    window = call.window
    assert window is not None
    hauls = tuple(Haul(pull.string, pull.traps, in_part=bool(pull.places)) for pull in window.pulls)
    return Called(window.leaves_at, window.last_departure_at, window.lands_at, hauls)


def play(
    folder: Path,
    seed: int,
    days: int,
    *,
    first_evening: date = OPENING_EVE,
    plant: Callable[[], None] | None = None,
    after_day: Callable[[date, Kept], None] = lambda _day, _kept: None,
    luck: Callable[[date], DayLuck] | None = None,
    outage: Chooser[ForecastFault] | None = None,
) -> Kept:
    """Play ``days`` mornings in ``folder``. ``plant`` is called at the start of each life of the service.

    What the seed draws gives way to ``luck`` and, before all faults of single services, to ``outage``.
    """
    weather = Weather(season_weather(seed, days, first_evening))
    clock = SharedClock()
    clock.put(due_at(first_evening, time(17), weather.scenario.zone_name))
    together = in_spells(seed, TOGETHER_CHANCES, together=True) if outage is None else outage
    chooser = either(together, in_spells(seed, FORECAST_CHANCES))
    boat = folder / "boat"
    boat.mkdir(parents=True)
    with serving(weather, clock.true_now, chooser, passes=clock.sleep) as forecasts, _mail(seed, clock) as mail:
        settings = demo_settings(
            boat,
            services=forecasts.base,
            mail_port=mail.port,
            station=weather.scenario.station,
            deck_traps=DECK_TRAPS,
        )
        settings = _keeping(settings, 30 if days > 60 else 7)
        driver = Driver(seed, settings, clock, forecasts, mail, weather, plant)
        first, last = (round(share * days) for share in LONG_LIFE)
        for number in range(1, days + 1):
            day = first_evening + timedelta(days=number)
            drawn = luck_of(seed, day, may_die=not first < number < last)
            driver.play(day, drawn if luck is None else luck(day))
            after_day(day, driver.kept)
        driver.close()
        kept = driver.kept
        kept.days = [first_evening + timedelta(days=n) for n in range(1, days + 1)]
        kept.read_end(settings, mail, forecasts)
        driver.judge_letters()
    return kept


def _keeping(settings: Settings, reply_days: int) -> Settings:
    text = settings.path.read_text("utf-8")
    text, changed = re.subn(
        r"^keep_replies_days = .*", f"keep_replies_days = {reply_days}", text, flags=re.MULTILINE
    )
    assert changed == 1
    settings.path.write_text(text, "utf-8")
    return load_settings(settings.path, env={})


@contextmanager
def _mail(seed: int, clock: SharedClock) -> Iterator[BadMail]:
    """A mail server in a thread and a loop of its own."""
    mail = BadMail(clock.true_now, in_spells(seed, MAIL_CHANCES))
    up, over = threading.Event(), asyncio.Event()
    loop = asyncio.new_event_loop()

    async def serve() -> None:
        async with mail.serving():
            up.set()
            await over.wait()

    thread = threading.Thread(target=lambda: loop.run_until_complete(serve()), daemon=True)
    thread.start()
    if not up.wait(SERVERS_START_S):
        raise TimeoutError("the mail server did not start")
    try:
        yield mail
    finally:
        loop.call_soon_threadsafe(over.set)
        thread.join(SERVERS_START_S)
        if thread.is_alive():
            raise TimeoutError("the mail server did not end")
        loop.close()
