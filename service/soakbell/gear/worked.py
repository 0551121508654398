"""What an entry came to, for the books that count by it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Worked:
    """The traps that an entry worked on, after the fold settled which these were.

    ``soak_h`` is the soak of each before the entry, None where it had none; as long as ``places``.
    ``baited`` counts the traps that went in with fresh bait; ``fishing`` all traps of the boat that fish after it.
    """

    places: tuple[int, ...] = ()
    soak_h: tuple[float | None, ...] = ()
    baited: int = 0
    fishing: int = 0
