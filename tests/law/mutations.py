"""Ways in which what reaches the service can be damaged, the day can get worse, or the skipper can bar it.

Each takes a world and a source of chance and gives the damaged world, or None where it doesn't apply. What no
reader of one reply can tell is left out, and is listed here so that nobody takes the law for more than it is:

- a digit changed, put in or taken away, also by a comma in its place: ``5 knots`` is as good a statement as
  ``25 knots``;
- a layer of the grid lost that the settings don't ask for: it may tighten a call, and nothing tells of its loss;
- a layer of the grid emptied that another stands in for: the words of ``weather`` for ``probabilityOfThunder``; in
  these worlds they say no less;
- a whole well-formed statement taken out: one message of a list of warnings, one hazard of a grid, one sentence or
  one period of a text, one row of a station's table;
- the end of an event taken from its message in both places that give it (``ends`` and VTEC): what is left is a
  well-formed message that ends when it expires;
- a date moved forward, but not past now: old data that say they are new.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from random import Random

from law.world import (
    INNER_GRID,
    NEW_YORK,
    OUTER_GRID,
    STATION_REPORT,
    TEXT,
    WARNINGS,
    ZONE,
    World,
    issue_line,
    stamp,
    warning,
)
from soakbell.gear.log import Barred, Pinned
from soakbell.sea.sources import SourceKind
from soakbell.settings import Settings, TighterLimits
from soakbell.survey import ReplyKey

Mutation = Callable[[World, Random], World | None]
Path = tuple[str | int, ...]
HOUR = timedelta(hours=1)

JSON_KEYS = (TEXT, INNER_GRID, OUTER_GRID, WARNINGS)
LAYERS = ("windSpeed", "windGust", "waveHeight", "wavePeriod", "visibility", "probabilityOfThunder")


def body_of(world: World, key: ReplyKey) -> bytes | None:
    bodies = world.replies.get(key)
    return bodies[0] if bodies else None


def any_key(world: World, chance: Random, among: Sequence[ReplyKey] | None = None) -> ReplyKey | None:
    there = [key for key in world.replies if among is None or key in among]
    return chance.choice(there) if there else None


def read(body: bytes | None) -> dict[str, object] | None:
    try:
        said = json.loads(body or b"")
    except (ValueError, RecursionError):
        return None
    return said if isinstance(said, dict) else None


# ---- Whole replies


def drop_reply(world: World, chance: Random) -> World | None:
    key = any_key(world, chance)
    return None if key is None else world.with_reply(key)


def truncate(world: World, chance: Random) -> World | None:
    key = any_key(world, chance)
    if key is None or len(world.replies[key][0]) < 2:
        return None
    body = world.replies[key][0]
    return world.with_reply(key, body[: chance.randrange(len(body) - 1)])


def cut_text(world: World, chance: Random) -> World | None:
    """The product's text is cut, its JSON is whole."""
    said = read(body_of(world, TEXT))
    if said is None or not isinstance(said.get("productText"), str):
        return None
    text = str(said["productText"])
    return world.with_reply(
        TEXT, json.dumps(said | {"productText": text[: chance.randrange(len(text) + 1)]}).encode()
    )


_NUMERAL = re.compile(rb"[0-9.eE+-]*[0-9][0-9.eE+-]*")
_NOT_IN_NUMERALS = bytes(b for b in range(256) if chr(b) not in "0123456789.eE+-, \t\r\n")
_NO_DIGITS = bytes(b for b in range(256) if chr(b) not in "0123456789")


def corrupt(world: World, chance: Random) -> World | None:
    """One to four bytes become others. A digit never appears, changes into another, or merely vanishes."""
    key = any_key(world, chance)
    if key is None or not world.replies[key][0]:
        return None
    body = bytearray(world.replies[key][0])
    numerals = bytearray(len(body))
    for found in _NUMERAL.finditer(bytes(body)):
        numerals[found.start() : found.end()] = b"\x01" * (found.end() - found.start())
    for _ in range(chance.choice((1, 1, 2, 4))):
        at = chance.randrange(len(body))
        body[at] = chance.choice(_NOT_IN_NUMERALS if numerals[at] else _NO_DIGITS)
    return world.with_reply(key, bytes(body))


def corrupt_letters(world: World, chance: Random) -> World | None:
    """As ``corrupt``, in the text's letters and marks only, and always to plain ones: the hardest to see."""
    key = any_key(world, chance, (TEXT, WARNINGS))
    if key is None:
        return None
    body = bytearray(world.replies[key][0])
    places = [at for at, byte in enumerate(body) if chr(byte).isalpha() or chr(byte) in ".,-$/"]
    if not places:
        return None
    for _ in range(chance.choice((1, 1, 2))):
        body[chance.choice(places)] = chance.choice(b"ABEGMNOSTabdehilnorst.,;-/ $")
    return world.with_reply(key, bytes(body))


def other_content(world: World, chance: Random) -> World | None:
    key = any_key(world, chance)
    bodies = (
        b"<!doctype html><title>Service Unavailable</title>",
        b'{"type": "about:blank", "title": "Forecast Grid Expired", "status": 503, "detail": "later"}',
        b'{"error": "busy"}',
        b"",
        b"null",
        b"[]",
        b"{}",
        b"0",
        b'"calm"',
        b"\x1f\x8b\x08\x00",
        b'{"type": "FeatureCollection"}',
    )
    return None if key is None else world.with_reply(key, chance.choice(bodies))


def nested(world: World, chance: Random) -> World | None:
    key = any_key(world, chance, JSON_KEYS)
    if key is None:
        return None
    body, depth = world.replies[key][0], chance.choice((60, 3000))
    deep = b"[" * depth + b"]" * depth
    return world.with_reply(key, chance.choice((deep, body[:1] + b'"x": ' + deep + b", " + body[1:])))


def bad_number(world: World, chance: Random) -> World | None:
    """NaN, an infinity or a number past all range in the place of one, or among the rest."""
    key = any_key(world, chance, JSON_KEYS)
    if key is None:
        return None
    body = world.replies[key][0]
    token = chance.choice((b"NaN", b"Infinity", b"-Infinity", b"1e400", b"-1e400", b"9" * 400))
    spots = [found.span(1) for found in re.finditer(rb": (-?[0-9.]+)[,}]", body)]
    if not spots:
        return world.with_reply(key, body[:1] + b'"x": ' + token + b", " + body[1:])
    start, end = chance.choice(spots)
    return world.with_reply(key, body[:start] + token + body[end:])


def doubled_name(world: World, chance: Random) -> World | None:
    """One name is given twice in an object, with two values."""
    key = any_key(world, chance, JSON_KEYS)
    if key is None:
        return None
    body = world.replies[key][0]
    names = list(re.finditer(rb'[{,] ?("[A-Za-z]+"): ', body))
    if not names:
        return None
    found = chance.choice(names)
    calm = json.dumps(
        str((read(body_of(world, TEXT)) or {}).get("productText")).replace("15 to 20", "1 to 5")
    ).encode()
    other = chance.choice((b"null", b"0", b"[]", b"{}", b'""', b'{"values": []}', calm))
    return world.with_reply(
        key, body[: found.start(1)] + found[1] + b": " + other + b", " + body[found.start(1) :]
    )


def of_another_place(world: World, chance: Random) -> World | None:
    """A good reply of the right kind, but of other waters."""
    key = any_key(world, chance)
    if key is None:
        return None
    body = world.replies[key][0]
    if key[0] is SourceKind.GRID:
        other = body_of(world, OUTER_GRID if key == INNER_GRID else INNER_GRID)
        return None if other is None else world.with_reply(key, other)
    if key == TEXT:
        return world.with_reply(key, body.replace(ZONE.encode() + b"-765", b"GMZ755-765"))
    if key[0] is SourceKind.WARNINGS:
        return world.with_reply(key, body.replace(key[1].encode(), b"GMZ850"))
    return world.with_reply(key, chance.choice(list(world.replies.values()))[0])


# ---- Within JSON


@lru_cache(maxsize=4096)
def paths_in(body: bytes) -> tuple[Path, ...]:
    """Every place in a JSON reply, as the keys and numbers that lead there."""

    def walk(value: object, at: Path) -> Iterator[Path]:
        inner: Iterator[tuple[str | int, object]] = iter(())
        if isinstance(value, dict):
            inner = iter(value.items())
        elif isinstance(value, list):
            inner = iter(enumerate(value))
        for name, below in inner:
            yield (*at, name)
            yield from walk(below, (*at, name))

    said = read(body)
    return tuple(walk(said, ()))


def pick(world: World, chance: Random) -> tuple[ReplyKey, dict[str, object], object, str | int, Path] | None:
    """A random place: the reply, its JSON, what holds the place, its name there, and the whole path."""
    key = any_key(world, chance, JSON_KEYS)
    paths = paths_in(world.replies[key][0]) if key is not None else ()
    if key is None or not paths:
        return None
    depth = chance.choice((2, 3, 4, 9))  # else nearly all places would be numbers of the grid's hours
    path = chance.choice([p for p in paths if len(p) <= depth] or paths)
    said = read(world.replies[key][0])
    assert said is not None
    parent: object = said
    for step in path[:-1]:
        parent = parent[step]  # type: ignore[index]
    return key, said, parent, path[-1], path


def is_whole_statement(path: Path) -> bool:
    """A message in a list of warnings, a hazard in a grid."""
    if path[:1] == ("features",):
        return len(path) <= 2
    return "hazards" in path and path[-1] not in ("hazards", "validTime", "phenomenon")


def put(world: World, key: ReplyKey, said: dict[str, object]) -> World | None:
    return world.with_reply(key, json.dumps(said).encode())


def drop_field(world: World, chance: Random) -> World | None:
    picked = pick(world, chance)
    if picked is None or (is_whole_statement(picked[4]) and isinstance(picked[3], int)):
        return None
    key, said, parent, name, _ = picked
    del parent[name]  # type: ignore[attr-defined]
    return put(world, key, said)


def null_value(world: World, chance: Random) -> World | None:
    picked = pick(world, chance)
    if picked is None:
        return None
    key, said, parent, name, _ = picked
    parent[name] = None  # type: ignore[index]
    return put(world, key, said)


def empty_value(world: World, chance: Random) -> World | None:
    picked = pick(world, chance)
    if picked is None or is_whole_statement(picked[4]):
        return None
    key, said, parent, name, _ = picked
    value = parent[name]  # type: ignore[index]
    if not isinstance(value, (list, dict, str)):
        return None
    parent[name] = type(value)()  # type: ignore[index]
    return put(world, key, said)


def retype(world: World, chance: Random) -> World | None:
    """A value becomes one of another kind, or a number that can't be right."""
    picked = pick(world, chance)
    if picked is None or is_whole_statement(picked[4]):
        return None
    key, said, parent, name, _ = picked
    parent[name] = chance.choice(("", "7", "calm", True, False, -1, -1e9, 1e12, {"value": 1}, ["x"]))  # type: ignore[index]
    return put(world, key, said)


def drop_interval(world: World, chance: Random) -> World | None:
    """Hours of one layer of a grid, or the whole layer."""
    key = any_key(world, chance, (INNER_GRID, OUTER_GRID))
    said = read(body_of(world, key)) if key else None
    layers = said.get("properties") if said else None
    name = chance.choice(LAYERS)
    if key is None or said is None or not isinstance(layers, dict) or not isinstance(layers.get(name), dict):
        return None
    values = layers[name].get("values")
    if not isinstance(values, list) or not values:
        return None
    what = chance.random()
    if what < 0.2:
        del layers[name]
    elif what < 0.4:
        values.clear()
    elif what < 0.7 and isinstance(interval := chance.choice(values), dict):
        interval["value"] = None
    else:
        del values[chance.randrange(len(values))]
    return put(world, key, said)


# ---- Times


def redated_text(world: World, hours: float) -> World | None:
    """The text with its issue and expiry moved in all the places that give them."""
    said = read(body_of(world, TEXT))
    if (
        said is None
        or not isinstance(said.get("productText"), str)
        or not isinstance(said.get("issuanceTime"), str)
    ):
        return None
    text = str(said["productText"])
    issued_at = world.now - HOUR
    moved_at = issued_at + hours * HOUR
    if issue_line(issued_at) not in text:
        return None
    moved = text.replace(issue_line(issued_at), issue_line(moved_at))
    moved = moved.replace(f" {issued_at:%d%H%M}\n", f" {moved_at:%d%H%M}\n")
    moved = re.sub(r"-[0-9]{6}-\n", f"-{moved_at + 13.5 * HOUR:%d%H%M}-\n", moved)
    return world.with_reply(
        TEXT, json.dumps(said | {"productText": moved, "issuanceTime": stamp(moved_at)}).encode()
    )


def redated(world: World, key: ReplyKey, hours: float) -> World | None:
    if key == TEXT:
        return redated_text(world, hours)
    if key == STATION_REPORT:
        body = world.replies[key][0].decode("latin-1")

        def moved(found: re.Match[str]) -> str:
            at = datetime(*(int(part) for part in found.groups()), tzinfo=UTC)  # type: ignore[misc, arg-type]
            return f"{at + hours * HOUR:%Y %m %d %H %M} "

        row = re.compile(r"^(\d{4}) (\d\d) (\d\d) (\d\d) (\d\d) ", re.MULTILINE)
        return world.with_reply(key, row.sub(moved, body).encode("latin-1"))
    said = read(world.replies[key][0])
    if said is None:
        return None
    if key == WARNINGS:
        return put(world, key, said | {"updated": stamp(world.now + hours * HOUR)})
    if not isinstance(said.get("properties"), dict):
        return None
    said["properties"]["updateTime"] = stamp(world.now + hours * HOUR)  # type: ignore[index]
    return put(world, key, said)


def age(world: World, chance: Random) -> World | None:
    key = any_key(world, chance)
    return (
        None if key is None else redated(world, key, -chance.choice((0.5, 2.5, 5.9, 11.5, 13, 24, 30 * 24, 9000)))
    )


def from_the_future(world: World, chance: Random) -> World | None:
    key = any_key(world, chance)
    return None if key is None else redated(world, key, chance.choice((1.5, 3, 12, 24, 24 * 30, 9000)))


def later(world: World, chance: Random) -> World | None:
    return replace(world, now=world.now + timedelta(minutes=chance.choice((5, 60, 175, 230, 360, 500, 720))))


def clock_suspect(world: World, _: Random) -> World | None:
    return replace(world, clock_suspect=True)


# ---- Worse weather, more warnings


def add_warning(world: World, chance: Random) -> World | None:
    said = read(body_of(world, WARNINGS))
    if said is None or not isinstance(said.get("features"), list):
        return None
    event, code = chance.choice(
        (
            ("Small Craft Advisory", "SC.Y"),
            ("Gale Watch", "GL.A"),
            ("Special Marine Warning", "MA.W"),
            ("Dense Fog Advisory", "MF.Y"),
            ("Marine Weather Statement", ""),
            ("An Event Of No Known Name", "ZZ.S"),
        )
    )
    onset_at = world.now + chance.randrange(-3, 60) * HOUR
    new = warning(
        f"added-{chance.random()}",
        sent_at=world.now - chance.randrange(1, 5) * HOUR,
        onset_at=onset_at,
        ends_at=chance.choice((None, onset_at + chance.randrange(1, 30) * HOUR)),
        event=event,
        code=code,
        number=chance.randrange(100, 999),
        message_type=chance.choice(("Alert", "Alert", "Update")),
        severity=chance.choice(("Extreme", "Severe", "Moderate", "Minor", "Unknown")),
        zones=chance.choice(([ZONE], [ZONE, "GMZ765"])),
    )
    said["features"].insert(chance.randrange(len(said["features"]) + 1), new)
    return put(world, WARNINGS, said)


def add_hazard(world: World, chance: Random) -> World | None:
    key = any_key(world, chance, (INNER_GRID, OUTER_GRID))
    said = read(body_of(world, key)) if key else None
    try:
        values = said["properties"]["hazards"]["values"]  # type: ignore[index]
    except (KeyError, TypeError):
        return None
    if key is None or said is None or not isinstance(values, list):
        return None
    hazard = {"phenomenon": chance.choice(("SC", "GL", "ZZ")), "significance": chance.choice("WYAS")}
    begins = world.now + chance.randrange(-2, 40) * HOUR
    values.append({"validTime": f"{stamp(begins)}/PT{chance.randrange(1, 20)}H", "value": [hazard]})
    return put(world, key, said)


def in_text(world: World, change: Callable[[str], str]) -> World | None:
    said = read(body_of(world, TEXT))
    if said is None or not isinstance(said.get("productText"), str):
        return None
    changed = change(str(said["productText"]))
    return None if changed == said["productText"] else put(world, TEXT, said | {"productText": changed})


def add_headline(world: World, chance: Random) -> World | None:
    headline = chance.choice(
        (
            "SMALL CRAFT ADVISORY IN EFFECT UNTIL 7 PM EST THIS EVENING",
            "GALE WATCH IN EFFECT FROM WEDNESDAY MORNING",
            "SMALL CRAFT SHOULD EXERCISE CAUTION",
            "SOMETHING NEVER SAID BEFORE",
        )
    )
    return in_text(
        world, lambda text: re.sub(rf"({ZONE}(?:.|\n)*?\d{{4}}\n\n)", rf"\1...{headline}...\n\n", text, count=1)
    )


def add_words(world: World, chance: Random) -> World | None:
    """A sentence more in one of our zone's periods: worse weather, or words that nobody knows."""
    more = chance.choice(
        (
            " Winds occasionally to 35 knots.",
            " Seas occasionally to 7 feet.",
            " Seas building to 5 feet in the afternoon.",
            " Thunderstorms.",
            " Dense fog.",
            " Wibble wobble.",
            " Freezing spray.",
        )
    )

    def change(text: str) -> str:
        ours = text.rfind(ZONE)
        ends = [found.end() for found in re.finditer(r"light chop\.", text) if ours < found.start()]
        at = chance.choice(ends) if ends else len(text)
        return text[:at] + more + text[at:]

    return in_text(world, change)


def raised(world: World, *, wind_kt: int, sea_ft: int, keys: Sequence[ReplyKey]) -> World | None:
    """The upper and lower ends of every number in ``keys``, all by the same."""
    grown = world

    def more(amount: int, unit: str, text: str) -> str:
        return re.sub(
            rf"(\d+) to (\d+) {unit}", lambda m: f"{int(m[1]) + amount} to {int(m[2]) + amount} {unit}", text
        )

    for key in keys:
        changed: World | None
        if key == TEXT:
            changed = in_text(grown, lambda text: more(sea_ft, "feet", more(wind_kt, "knots", text)))
        elif key == STATION_REPORT:
            changed = raised_station(grown, wind_kt, sea_ft)
        else:
            changed = raised_grid(grown, key, wind_kt, sea_ft)
        if changed is None:
            return None
        grown = changed
    return grown


def raised_grid(world: World, key: ReplyKey, wind_kt: int, sea_ft: int) -> World | None:
    said = read(body_of(world, key))
    by = {"windSpeed": wind_kt * 1.852, "windGust": wind_kt * 1.852, "waveHeight": sea_ft * 0.3048}
    try:
        for name, amount in by.items():
            for interval in said["properties"][name]["values"]:  # type: ignore[index]
                interval["value"] = round(interval["value"] + amount, 4)
    except (KeyError, TypeError, OverflowError):
        return None
    assert said is not None
    return put(world, key, said)


def raised_station(world: World, wind_kt: int, sea_ft: int) -> World | None:
    lines = (body_of(world, STATION_REPORT) or b"").decode("latin-1").split("\n")
    try:
        for at, line in enumerate(lines):
            if line and not line.startswith("#"):
                fields = line.split()
                for column, amount in ((6, wind_kt / 1.943844), (7, wind_kt / 1.943844), (8, sea_ft * 0.3048)):
                    if fields[column] != "MM":
                        fields[column] = f"{float(fields[column]) + amount:.3f}"
                lines[at] = " ".join(fields)
    except (IndexError, ValueError):
        return None
    return world.with_reply(STATION_REPORT, "\n".join(lines).encode("latin-1"))


def raise_all(world: World, chance: Random) -> World | None:
    told = [key for key in world.replies if key[0] is not SourceKind.WARNINGS]
    return raised(world, wind_kt=chance.choice((0, 1, 3, 8)), sea_ft=chance.choice((0, 1, 3)), keys=told)


def raise_highest(world: World, chance: Random) -> World | None:
    """Every baseline's text gives the highest wind and sea; raising it widens gaps and never closes one."""
    return raised(world, wind_kt=chance.choice((1, 2, 6)), sea_ft=chance.choice((0, 1, 2)), keys=[TEXT])


def raise_gusts(world: World, chance: Random) -> World | None:
    """Only the grid gives gusts."""
    key = any_key(world, chance, (INNER_GRID, OUTER_GRID))
    said = read(body_of(world, key)) if key else None
    amount = chance.choice((2, 8, 20)) * 1.852
    try:
        for interval in said["properties"]["windGust"]["values"]:  # type: ignore[index]
            interval["value"] = round(interval["value"] + amount, 4)
    except (KeyError, TypeError, OverflowError):
        return None
    assert key is not None
    assert said is not None
    return put(world, key, said)


# ---- Settings


def with_boat_limits(settings: Settings, **limits: float) -> Settings:
    tightened = settings.boat.limits.model_copy(update=limits)
    return replace(settings, boat=settings.boat.model_copy(update={"limits": tightened}))


def lower_limit(world: World, chance: Random) -> World | None:
    limits = world.settings.boat.limits
    name = chance.choice(("wind_kt", "gust_kt", "sea_ft", "thunder_pct", "visibility_nm", "steepness"))
    value = getattr(limits, name)
    if value is None:
        new: float = {"thunder_pct": 20, "visibility_nm": 1, "steepness": 0.05}[name]
    else:
        new = value / chance.uniform(0.2, 0.99) if name == "visibility_nm" else value * chance.uniform(0.2, 0.99)
    return replace(world, settings=with_boat_limits(world.settings, **{name: new}))


def lower_string_limit(world: World, chance: Random) -> World | None:
    strings = list(world.settings.strings)
    at = chance.randrange(len(strings))
    tighter = TighterLimits(
        wind_kt=chance.uniform(3, 14), gust_kt=chance.uniform(5, 19), sea_ft=chance.uniform(1, 3)
    )
    strings[at] = strings[at].model_copy(update={"limits": tighter})
    return replace(world, settings=replace(world.settings, strings=tuple(strings)))


def lower_max_age(world: World, chance: Random) -> World | None:
    sources = world.settings.sources
    name = chance.choice(("zone_text", "grid", "warnings", "observations"))
    lowered = sources.max_age_h.model_copy(
        update={name: getattr(sources.max_age_h, name) * chance.choice((0.02, 0.4, 0.7))}
    )
    return replace(
        world, settings=replace(world.settings, sources=sources.model_copy(update={"max_age_h": lowered}))
    )


def lower_gap(world: World, chance: Random) -> World | None:
    """What counts as a contradiction."""
    sources = world.settings.sources
    gap = sources.large_gap
    lowered = gap.model_copy(
        update={name: getattr(gap, name) * chance.uniform(0.05, 0.9) for name in ("wind_kt", "gust_kt", "sea_m")}
    )
    return replace(
        world, settings=replace(world.settings, sources=sources.model_copy(update={"large_gap": lowered}))
    )


def with_boat(world: World, **changed: float) -> World:
    boat = world.settings.boat.model_copy(update=changed)
    return replace(world, settings=replace(world.settings, boat=boat))


def fewer_deck_traps(world: World, chance: Random) -> World | None:
    """The deck carries fewer, also where nothing was settled of it before."""
    deck = world.settings.boat.deck_traps
    fewer = chance.randrange(1, 60 if deck is None else max(2, deck))
    return with_boat(world, deck_traps=fewer)


def more_stack_minutes(world: World, chance: Random) -> World | None:
    stack_min = world.settings.boat.stack_min_per_trap
    return with_boat(world, stack_min_per_trap=stack_min + chance.choice((1, 3, 12, 30)))


# ---- The skipper


def add_bar(world: World, chance: Random) -> World | None:
    """A day or a string barred, most often today."""
    day = world.now.astimezone(NEW_YORK).date() + timedelta(days=chance.choice((0, 0, 0, 1, 3)))
    return world.telling(Barred(day, chance.choice(("", *(string.name for string in world.settings.strings)))))


def add_pin(world: World, chance: Random) -> World | None:
    """A day or a string pinned, most often today: it may lift a string's floor, and nothing else."""
    day = world.now.astimezone(NEW_YORK).date() + timedelta(days=chance.choice((0, 0, 0, 1, 3)))
    return world.telling(Pinned(day, chance.choice(("", *(string.name for string in world.settings.strings)))))


# ---- The station


def station_hole(world: World, chance: Random) -> World | None:
    """A whole column is MM, or the newest rows are gone, or all."""
    body = body_of(world, STATION_REPORT)
    if body is None:
        return None
    lines = body.decode("latin-1").split("\n")
    if chance.random() < 0.5:
        return world.with_reply(STATION_REPORT, "\n".join(lines[: chance.randrange(3)]).encode("latin-1"))
    column = chance.choice((6, 7, 8))
    for at, line in enumerate(lines[2:], start=2):
        fields = line.split()
        if len(fields) > column:
            fields[column] = chance.choice(("MM", "MM", "99.0"))
            lines[at] = " ".join(fields)
    return world.with_reply(STATION_REPORT, "\n".join(lines).encode("latin-1"))


MUTATIONS: dict[str, Mutation] = {
    function.__name__.replace("_", " "): function
    for function in (
        drop_reply,
        truncate,
        cut_text,
        corrupt,
        corrupt_letters,
        other_content,
        nested,
        bad_number,
        doubled_name,
        of_another_place,
        drop_field,
        null_value,
        empty_value,
        retype,
        drop_interval,
        age,
        from_the_future,
        later,
        clock_suspect,
        add_warning,
        add_hazard,
        add_headline,
        add_words,
        raise_all,
        raise_highest,
        raise_gusts,
        lower_limit,
        lower_string_limit,
        lower_max_age,
        lower_gap,
        fewer_deck_traps,
        more_stack_minutes,
        add_bar,
        add_pin,
        station_hole,
    )
}


NOT_TOGETHER = frozenset({"from the future", "later"})
"""As time goes by, a date that lay ahead becomes one of a good reply."""


def can_be_told(world: World) -> bool:
    """Whether each warning in the list still states an end in one of the two places that give it."""
    said = read(body_of(world, WARNINGS)) or {}
    features = said.get("features")
    for feature in features if isinstance(features, list) else ():
        properties = feature.get("properties") if isinstance(feature, dict) else None
        if isinstance(properties, dict):
            parameters = properties.get("parameters")
            vtec = parameters.get("VTEC") if isinstance(parameters, dict) else None
            if not properties.get("ends") and not vtec and properties.get("event") != "Marine Weather Statement":
                return False
    return True
