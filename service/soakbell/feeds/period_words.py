"""The words of marine forecasts that the period grammar knows, and the numbers they stand for.

A word that isn't here makes its period *not understood*, so the list only holds words that can't change a
wind or sea number, beside the ones the grammar handles itself.
"""

from __future__ import annotations

import re
from enum import Enum, auto

LIGHT_WIND_KT = 10.0
"""Upper end of "light" (memory: offices mean 5 or 10)."""

GALE_KT = (34.0, 47.0)
"""weather.gov/key/marine_definitions."""

STORM_KT = (48.0, 63.0)
"""As above, where hurricane force is split off."""

TROPICAL_STORM_KT = (34.0, 63.0)

HURRICANE_KT = 64.0
"""Lower end; there is no upper one, so the words never carry a call."""

THUNDER_SLIGHT_PCT = 24.0
THUNDER_CHANCE_PCT = 54.0
THUNDER_LIKELY_PCT = 74.0
THUNDER_CERTAIN_PCT = 100.0
"""Upper ends of the NWS probability words (memory)."""

DENSE_FOG_NMI = 0.25
FOG_NMI = 0.5
"""Visibility that fog words stand for (memory: fog is under 5/8 statute mile, 0.54 nmi)."""

DENSE_WORDS = frozenset({"dense", "thick"})
VEILING_WORDS = frozenset({"smoke", "haze", "dust", "ash", "snow"})
"""With "dense" or "thick" beside them these stand for the visibility of dense fog (house rule)."""


class Kind(Enum):
    """What a word does in a sentence."""

    WIND = auto()
    GUST = auto()
    SEA = auto()
    WAVE = auto()
    SWELL = auto()
    VISIBILITY = auto()
    DIRECTION = auto()
    RISE = auto()
    FALL = auto()
    TURN = auto()
    ONLY_UPPER = auto()
    KNOT = auto()
    MPH = auto()
    FOOT = auto()
    SECOND = auto()
    NAUTICAL_MILE = auto()
    STATUTE_MILE = auto()
    PERCENT = auto()
    HALF_DAY = auto()
    TIME = auto()
    LINK = auto()
    WEATHER = auto()
    THUNDER = auto()
    FOG = auto()
    CHOP = auto()
    PLACE = auto()
    PORTION = auto()


DIRECTIONS_DEG = {
    name: number * 22.5
    for number, names in enumerate(
        (
            ("n", "north", "northerly"),
            ("nne",),
            ("ne", "northeast", "northeasterly"),
            ("ene",),
            ("e", "east", "easterly"),
            ("ese",),
            ("se", "southeast", "southeasterly"),
            ("sse",),
            ("s", "south", "southerly"),
            ("ssw",),
            ("sw", "southwest", "southwesterly"),
            ("wsw",),
            ("w", "west", "westerly"),
            ("wnw",),
            ("nw", "northwest", "northwesterly"),
            ("nnw",),
        )
    )
    for name in names
}
"""Where the wind comes from, degrees true."""

WINDLESS_DIRECTIONS = frozenset({"variable", "onshore", "offshore", "alongshore", "upslope"})
"""Said in a direction's place without being one."""


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split())


UNCAPITALISED_DAYS = frozenset({"sun", "mon", "tue", "tues", "wed", "thu", "thur", "thurs", "fri", "sat"})
"""Short names of days are written with a capital; without one they are pieces of longer words."""


def split_words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_TIME = _words("""
    morning afternoon evening night overnight midnight noon late early later latter after before until
    till through thru throughout during by daybreak sunrise sunset dawn dusk daytime nighttime day days
    daylight hours hour time times period periods initially briefly first second second half mid midday
    midweek predawn today tonight tomorrow this then once when while toward towards most much rest all
    mainly mostly generally occasional occasionally locally local at sun mon tue tues wed thu thur thurs
    fri sat sunday monday tuesday wednesday thursday friday saturday weekend continuing persisting again
    eventually gradually slowly quickly steadily abruptly est edt cst cdt pst pdt akst akdt hst ast chst
    sst
    """)
_LINK = _words("""
    general a an the and or with of in on to from for but otherwise however except as well also possible
    expected dominant mixed mix combined total significant height heights average primary secondary
    predominant prevailing having is are be being will remaining remain along strongest highest some
    sustained speed speeds direction directions between force
    """)
_WEATHER = _words("""
    shower showers showery rain rainy raining drizzle snow snowy flurries flurry sleet hail ice pellets
    wintry mix mixture precipitation precip freezing frozen spray sunny sunshine cloudy clouds cloud
    clear clearing fair overcast skies sky haze hazy smoke smoky dust blowing chance chances slight
    likely probable probably intermittent isolated scattered numerous widespread areas area patchy
    patches patch few definite periods occasional heavy moderate dense locally periodic increasing
    decreasing becoming diminishing mostly partly tapering ending developing spreading changing over
    into possibly brief passing mainly cold warm dry wet breezy sprinkles sprinkle light thick
    rapid rapidly accumulation possible expected near around vicinity in and then early late icing
    snowfall rainfall downpours unsettled rumbles ash volcanic mostly variable
    """)
FALLING_WORDS = split_words("""
    rain snow sleet drizzle freezing showers flurries icing ice hail wintry mist accumulation
    """)
"""After "light" these make it a word of weather, not of wind."""

SKY_WORDS = split_words("""
    shower showers rain drizzle snow flurries flurry sleet hail pellets wintry precipitation precip
    freezing spray sunny sunshine cloudy clouds cloud clear clearing fair overcast haze hazy smoke dust
    lightning sprinkles dry ash fog foggy mist thunderstorm thunderstorms tstm tstms thunder storms
    waterspouts waterspout icing
    """)
"""A sentence without numbers is weather only if it has one of these."""

_THUNDER = _words("""
    thunderstorm thunderstorms tstm tstms thunder thundershower thundershowers lightning waterspout waterspouts
    """)
_FOG = _words("fog foggy mist")
_PLACE = _words("""
    shore shores coast coasts coastline island islands inlet inlets entrance entrances channel channels
    bay bays pass passes gap gaps cape capes sound sounds strait straits delta reef reefs reefline
    stream mouth mouths land harbor harbors river rivers lake lakes ocean water waters headlands
    headland point points lagoon bar gulf canyon canyons canal marsh beach beaches peninsula shoals bank
    banks islet narrows fjords outlets interior open inner outer central upper lower far extreme
    nearshore coastal inland deep deeper shallow southern northern eastern western northeastern
    northwestern southeastern southwestern north-facing leeward windward border line zone zones edge
    protected sheltered intracoastal intercoastal favored exposed adjacent immediate main entire
    """)
_PORTION = _words("""
    portion portions part parts half halves third quarter section sections southward northward eastward
    westward
    """)

CLASSES: dict[str, Kind] = {
    **dict.fromkeys(_WEATHER, Kind.WEATHER),
    **dict.fromkeys(_PLACE, Kind.PLACE),
    **dict.fromkeys(_PORTION, Kind.PORTION),
    **dict.fromkeys(_LINK, Kind.LINK),
    **dict.fromkeys(_TIME, Kind.TIME),
    **dict.fromkeys(_THUNDER, Kind.THUNDER),
    **dict.fromkeys(_FOG, Kind.FOG),
    **dict.fromkeys(DIRECTIONS_DEG, Kind.DIRECTION),
    **dict.fromkeys(WINDLESS_DIRECTIONS, Kind.DIRECTION),
    **dict.fromkeys(_words("wind winds breeze breezes"), Kind.WIND),
    **dict.fromkeys(_words("gust gusts gusting"), Kind.GUST),
    **dict.fromkeys(_words("sea seas"), Kind.SEA),
    **dict.fromkeys(_words("wave waves"), Kind.WAVE),
    **dict.fromkeys(_words("swell swells"), Kind.SWELL),
    **dict.fromkeys(_words("visibility visibilities vsby vsbys"), Kind.VISIBILITY),
    **dict.fromkeys(
        _words("""
    increasing rising building strengthening freshening growing increase build rise intensifying
    """),
        Kind.RISE,
    ),
    **dict.fromkeys(
        _words("""
    decreasing diminishing easing subsiding weakening lowering falling dropping abating slackening
    settling relaxing decaying lessening diminish subside decrease ease
    """),
        Kind.FALL,
    ),
    **dict.fromkeys(
        _words("""
    becoming veering backing shifting turning switching swinging changing clocking become turn shift
    """),
        Kind.TURN,
    ),
    **dict.fromkeys(
        _words("occasional occasionally locally local isolated frequent frequently brief"), Kind.ONLY_UPPER
    ),
    **dict.fromkeys(_words("kt kts knot knots"), Kind.KNOT),
    "mph": Kind.MPH,
    **dict.fromkeys(_words("ft foot feet"), Kind.FOOT),
    **dict.fromkeys(_words("second seconds sec secs"), Kind.SECOND),
    **dict.fromkeys(_words("nm nmi nautical"), Kind.NAUTICAL_MILE),
    **dict.fromkeys(_words("mile miles mi sm statute"), Kind.STATUTE_MILE),
    **dict.fromkeys(_words("percent %"), Kind.PERCENT),
    **dict.fromkeys(_words("am pm"), Kind.HALF_DAY),
    **dict.fromkeys(_words("smooth choppy chop rough"), Kind.CHOP),
}
"""Every known word, lower case. A later line wins where a word has two uses."""

HARMLESS = frozenset({Kind.TIME, Kind.LINK, Kind.WEATHER, Kind.THUNDER, Kind.FOG, Kind.ONLY_UPPER})
"""Kinds that may stand anywhere in a sentence with numbers."""

WEATHER_SENTENCE = frozenset(
    {*HARMLESS, Kind.DIRECTION, Kind.RISE, Kind.FALL, Kind.TURN, Kind.PLACE, Kind.PORTION, Kind.HALF_DAY}
)
CHOP_SENTENCE = frozenset({*WEATHER_SENTENCE, Kind.CHOP})

OUTLOOK_WORDS = split_words("""
    small craft advisory advisories gale gales storm warning warnings watch hurricane force tropical
    hazardous seas dense fog freezing spray heavy may might could can be needed required issued
    necessary possible is are conditions condition if winds wind a an the or and for likely in this area
    level
    """)
"""Words of a sentence such as "A Small Craft Advisory may be needed". None can say that one is in effect."""
WARNING_WORDS = split_words("advisory advisories warning warnings watch watches statement statements sca")
MODALS = split_words("may might could can capable")
CHANCE_WORDS = split_words("may might could can possible likely")
"""Without one of these beside it, an official event named in a period is taken to hold."""
LASTING_WORDS = split_words("remain remaining continuing persisting being having")
"""Beside the name of an official event these say that it holds already, whatever may come of it."""

HIGHER_IN_STORMS = re.compile(
    r"(?:winds?|waves?|seas?)(?:,? (?:and|or) (?:winds?|waves?|seas?|visibilities))*"
    r"(?: (?:may|can|will) be| are)?(?: locally| briefly)? (?:higher|stronger)(?: and gusty)? "
    r"(?:in and near|in and around|in or near|in the vicinity of|near|in|around)(?: any| some)?"
    r"(?: showers and| showers or)? (?:thunderstorms|tstms|storms)",
    re.IGNORECASE,
)
"""A standing remark of many offices; the storms themselves are told beside it."""
