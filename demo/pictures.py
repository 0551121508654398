"""Makes the pictures of README and of the skipper's pages from the letters of an invented boat and its phone page.

    PYTHONPATH=.:tests tests/.venv/bin/python -m demo.pictures

It needs what the tests need (``bash tests/run`` installs it) and Chromium in ``browser.CHROMIUM``. Every picture
says in its own words that its data are invented.
"""

from __future__ import annotations

import asyncio
import io
import logging
import sys
import tempfile
from collections.abc import Iterable
from contextlib import closing
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from PIL import Image, ImageDraw, ImageFont
from playwright.sync_api import Page

from browser import browser, browser_page
from demo.play import play
from demo.show import INVENTED, kind_of, write_letter
from demo.story import WINTER
from page_scenes import NobodyAnswers, Scene, terms, visitor_of
from soakbell.clock import SetClock
from soakbell.planning.call import CallWord
from soakbell.settings import Settings
from soakbell.store.backup import back_up
from soakbell.wiring import build, page_house

PICTURES = Path(__file__).resolve().parent / "pictures"
MOST_BYTES = 120_000
LETTER_PX, LETTER_TALL_PX = 640, 780
PHONE_PX, PHONE_TALL_PX = 360, 784
_COLOURS = 64
_BETWEEN_PX = 16
_WORDS_PX = 15


def main() -> int:
    logging.disable(logging.WARNING)  # nobody answers the page's own look at the sources
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="soakbell-pictures-") as folder:
        letters, boat = _first_night(Path(folder))
        drawn = {
            "pull-letter": _of_page(letters["morning"].with_suffix(".html"), Path(folder)),
            "chart": _marked(Image.open(letters["morning"].with_suffix(".png"))),
            "eve-letter": _of_page(letters["eve"].with_suffix(".html"), Path(folder)),
            "phone-page": _phone(boat, Path(folder)),
        }
        for name, picture in drawn.items():
            _keep(picture, PICTURES / f"{name}.png")
    return 0


def _first_night(folder: Path) -> tuple[dict[str, Path], tuple[Settings, datetime]]:
    """The files of the first night's letters, by kind, and the boat as she was when the morning letter was out."""
    boats: list[tuple[Settings, datetime]] = []

    def keep_boat(settings: Settings, now: datetime) -> None:
        copy = folder / "boat.sqlite3"
        back_up(settings.database, copy)
        boats.append((replace(settings, database=copy), now))

    (night,) = asyncio.run(play(WINTER, 1, folder, at_letter=keep_boat))
    if not night.calls or night.calls[0].word is not CallWord.PULL:
        raise SystemExit("the first night of the story is no PULL any more: choose another for the pictures")
    out = folder / "letters"
    out.mkdir()
    return {
        kind_of(caught.message): write_letter(caught.message, out)[0] for caught in reversed(night.letters)
    }, boats[0]


def _of_page(page: Path, folder: Path) -> Image.Image:
    """The top of a letter, as a mail program shows it."""
    with browser(folder / "mail", width=LETTER_PX, height=LETTER_TALL_PX) as context:
        opened = context.new_page()
        opened.goto(page.as_uri())
        return _shot(opened)


def _marked(chart: Image.Image) -> Image.Image:
    """The chart as wide as its letter, with the words that stand at the letter's head."""
    drawn = chart.convert("RGB").resize((LETTER_PX, round(chart.height * LETTER_PX / chart.width)))
    whole = Image.new("RGB", (drawn.width, drawn.height + 2 * _BETWEEN_PX + 2 * _WORDS_PX), "white")
    whole.paste(drawn, (0, 0))
    words = INVENTED.replace(": ", ":\n", 1)
    at = (_BETWEEN_PX, drawn.height + _BETWEEN_PX)
    ImageDraw.Draw(whole).multiline_text(at, words, fill="black", font=ImageFont.load_default(_WORDS_PX))
    return whole


def _phone(boat: tuple[Settings, datetime], folder: Path) -> Image.Image:
    """The call of the same letter beside the form of a pull."""
    settings, now = boat
    clock = SetClock(now)
    with closing(build(settings, clock=clock, fetcher=NobodyAnswers(), invented=True)) as house:
        page_of = page_house(house, terms(), clock)
        scene = Scene(page_of, clock, house.store, visitor_of(page_of))
        with browser_page(scene, folder / "phone", width=PHONE_PX) as (page, address):
            page.set_viewport_size({"width": PHONE_PX, "height": PHONE_TALL_PX})
            page.goto(f"{address}/")
            today = _shot(page)
            page.goto(f"{address}/log/pull")
            return _side_by_side((today, _shot(page)))


def _shot(page: Page) -> Image.Image:
    return Image.open(io.BytesIO(page.screenshot(animations="disabled")))


def _side_by_side(pictures: Iterable[Image.Image]) -> Image.Image:
    shown = list(pictures)
    width = sum(picture.width for picture in shown) + _BETWEEN_PX * (len(shown) - 1)
    whole = Image.new("RGB", (width, max(picture.height for picture in shown)), "white")
    left = 0
    for picture in shown:
        whole.paste(picture, (left, 0))
        left += picture.width + _BETWEEN_PX
    return whole


def _keep(picture: Image.Image, path: Path) -> None:
    small = picture.convert("RGB").quantize(_COLOURS, dither=Image.Dither.NONE)
    small.save(path, optimize=True)
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise SystemExit(f"{path.name} has {size} bytes, more than {MOST_BYTES}")
    print(f"{path.name}: {picture.width} x {picture.height} px, {size} bytes")


if __name__ == "__main__":
    sys.exit(main())
