"""What the phone page is built on: the boat's desk and database, read; the log, told."""

from __future__ import annotations

from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from soakbell.clock import Clock
from soakbell.desk import Desk
from soakbell.gear.outfit import Outfit
from soakbell.page_settings import PageTerms
from soakbell.settings import Settings
from soakbell.store.engine import Store
from soakbell.web.keys import Keys


@dataclass(frozen=True)
class PageHouse:
    """``outfit`` is what the skipper settled about his gear, or why it can't be used, or None."""

    settings: Settings
    terms: PageTerms
    store: Store
    clock: Clock
    desk: Desk
    outfit: Outfit | str | None
    keys: Keys = field(repr=False)
    invented: bool = False

    @property
    def boat(self) -> str:
        return self.settings.boat.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.settings.harbor.time_zone)

    @property
    def usable_outfit(self) -> Outfit | None:
        return self.outfit if isinstance(self.outfit, Outfit) else None
