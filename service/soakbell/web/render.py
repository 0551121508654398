"""Templates of the phone page. Everything that is put in is escaped."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from soakbell.fishery.season import caution
from soakbell.letters.letter import printable
from soakbell.letters.words import STANDING, checked_words, skipper_decides

if TYPE_CHECKING:
    from soakbell.web.house import PageHouse
    from soakbell.web.visit import SignedIn

STATIC = files("soakbell.web") / "static"

_PAGES = (
    ("/", "Today"),
    ("/log", "Log"),
    ("/strings", "Strings"),
    ("/bait", "Bait"),
    ("/bench", "Bench"),
    ("/season", "Season"),
)
_SKIPPERS = (("/letters", "Letters"), ("/marks", "Marks"), ("/carry", "Carry"))


def rendered(
    house: PageHouse, who: SignedIn | None, template: str, words: Mapping[str, Any], *, here: str = ""
) -> str:
    """A whole page: the template, and what the layout around it needs. ``here`` is the path that it answers."""
    law = caution(house.settings.fishery)
    around = {
        "boat": house.boat,
        "harbor": house.settings.harbor.name,
        "zone": house.settings.harbor.time_zone,
        "who": who,
        "here": here,
        "pages": _PAGES,
        "more_pages": _SKIPPERS if who is not None and who.is_skipper else (),
        "invented": house.invented,
        "standing_cautions": (skipper_decides("this page"), *STANDING[1:]),
        "fishery": house.settings.fishery.name,
        "authority": law.authority,
        "fishery_url": law.url,
        "rules_checked": checked_words(law.checked, law.not_read, law.rules),
        "stamp": stamp(),
    }
    return _environment().get_template(template).render({**around, **words})


@cache
def stamp() -> str:
    """Changes whenever a file beside the pages does, so that no phone keeps an old one."""
    digest = sha256()
    for one in sorted(STATIC.iterdir(), key=lambda one: one.name):
        digest.update(one.name.encode() + one.read_bytes())
    return digest.hexdigest()[:12]


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("soakbell.web"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=printable,
        trim_blocks=True,
        lstrip_blocks=True,
    )
