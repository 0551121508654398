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

from faults.bad_forecasts import BadForecasts, serving
from faults.bad_luck import in_spells
from faults.bad_mail import BadMail
from faults.season_checks import Kept, sizes_now
from faults.season_life import Life, SharedClock
from faults.season_luck import FORECAST_CHANCES, MAIL_CHANCES, DayLuck, luck_of
from faults.season_oracle import Oracle, Served
from faults.season_skipper import SeasonSkipper
from faults.season_weather import OPENING_EVE, season_weather
from soakbell.call_record import from_record
from soakbell.due_times import due_at, local_day
from soakbell.gear.log import LogEntry
from soakbell.planning.call import Call
from soakbell.settings import Settings, load_settings
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
        self.skipper = SeasonSkipper(seed, settings.trap_strings, self._zone, clock.true_now, self._tell)
        self.kept = Kept()
        self.skipper.set_out()

    def play(self, day: date, luck: DayLuck) -> None:
        """From midnight to midnight."""
        dice = random.Random(f"{self._seed} moments {day}")
        self._luck, self._sweep_no, self._tries = luck, 0, 0
        self._well: list[datetime] = []
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
        dies_at = self._luck.dies.get(number, 0)
        with self._locked(self._luck.locked.get(number)):
            alive = self._life.sweep(dies_at=dies_at)
        self.kept.sweeps += 1
        if not alive:
            self.kept.troubles["process died"] += 1
            self.kept.upset.append(now)
            self._life, self._back_at = None, now + timedelta(minutes=self._luck.away_min)
            if dies_at == 0:
                self.kept.broken.append(f"{now:%d %b %H:%M}: the service died by itself")
        elif number not in self._luck.locked and not self._clock.wrong_by:
            self._well.append(now)
        self._served.read(self._forecasts.asked)
        self._judge()

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
            call, trip = from_record(row.detail)
            true_at = row.made_at - self._clock.wrong_by
            self._calls.setdefault(row.day, []).append((call, true_at))
            if row.word == "PULL":
                assert trip is not None
                self.kept.pulls_judged += 1
                for why in self._oracle.against(call, trip, true_at):
                    self.kept.broken_pulls.append(f"{row.day} {call.made_at:%H:%M} UTC: {why}")

    def _standing(self, day: date) -> Call | None:
        """The day's last call, while it is PULL."""
        calls = self._calls.get(day)
        return calls[-1][0] if calls and calls[-1][0].window is not None else None

    def _looks(self, dice: random.Random, call: Call) -> list[datetime]:
        """Some of those that are due, and the last one that must take back a PULL that was barred before it."""
        every = timedelta(minutes=self._settings.letters.watch_every_min)
        due = []
        at = self._clock.true_now() + every
        while at < call.window.lands_at:
            due.append(at)
            at += every + timedelta(seconds=5)
        last = [at for at in due if at < call.window.lands_at - TOO_LATE_TO_LOOK][-1:]
        return sorted({*dice.sample(due, min(LOOKS, len(due))), *last})

    def _close(self, day: date) -> None:
        calls = self._calls.pop(day, [])
        if calls and calls[-1][0].window is not None:
            call, made_at = calls[-1]
            for looked_at in self._well:
                if made_at < looked_at < call.window.lands_at - TOO_LATE_TO_LOOK:
                    barred_at = self._oracle.barred_since(call, made_at, looked_at - TOO_LATE_TO_LOOK)
                    if barred_at is not None:
                        self.kept.left_standing.append(f"{day}: barred at {barred_at:%H:%M} UTC")
                        break
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


def play(
    folder: Path,
    seed: int,
    days: int,
    *,
    first_evening: date = OPENING_EVE,
    plant: Callable[[], None] | None = None,
    after_day: Callable[[date, Kept], None] = lambda _day, _kept: None,
) -> Kept:
    """Play ``days`` mornings in ``folder``. ``plant`` is called at the start of each life of the service."""
    weather = Weather(season_weather(seed, days, first_evening))
    clock = SharedClock()
    clock.put(due_at(first_evening, time(17), weather.scenario.zone_name))
    chooser = in_spells(seed, FORECAST_CHANCES)
    boat = folder / "boat"
    boat.mkdir(parents=True)
    with serving(weather, clock.true_now, chooser) as forecasts, _mail(seed, clock) as mail:
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
            driver.play(day, luck_of(seed, day, may_die=not first < number < last))
            after_day(day, driver.kept)
        driver.close()
        kept = driver.kept
        kept.days = [first_evening + timedelta(days=n) for n in range(1, days + 1)]
        kept.read_end(settings, mail, forecasts)
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
    up.wait()
    try:
        yield mail
    finally:
        loop.call_soon_threadsafe(over.set)
        thread.join()
        loop.close()
