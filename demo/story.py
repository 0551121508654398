"""What is played: weather, log, skipper, and what the skipper changes in his files. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date

from demo.season import season_log
from demo.shore import shore_log
from demo.skipper import Skipper
from demo.weather import FORTNIGHT, Scenario
from soakbell.clock import Clock
from soakbell.desk import Desk
from soakbell.gear.log import LogEntry
from soakbell.gear.outfit import Outfit
from soakbell.settings import Settings


@dataclass(frozen=True)
class Story:
    """A scenario, and the boat in it.

    Attributes:
        log: what was told to the log before the first evening, by the boat's settings.
        deck_traps: as in ``demo_settings``.
        orders: of the authority, as tables of the fishery's file, by the day on which the skipper writes them in.
        of_season_end: the terminal shows what the letters tell of it.
    """

    scenario: Scenario
    log: Callable[[Settings], list[LogEntry]]
    skipper: Callable[[Desk, Outfit, Clock], Skipper]
    deck_traps: int | None = None
    orders: Mapping[date, str] = field(default_factory=dict)
    of_season_end: bool = False


def _december(settings: Settings) -> list[LogEntry]:
    zone_name = FORTNIGHT.zone_name
    return [*season_log(settings.trap_strings, zone_name), *shore_log(zone_name)]


WINTER = Story(FORTNIGHT, _december, Skipper)
"""A fortnight of December, with its calls and what they take."""
