"""What the boat can take."""

from __future__ import annotations

from dataclasses import dataclass, fields


@dataclass(frozen=True)
class Limits:
    """Highest values the skipper goes out in; ``visibility_nm`` is the lowest. None: not limited.

    A limit that is set must be held against a number: an hour for which no source gives one is not known.
    ``steepness`` is significant height over wavelength (linear dispersion at the place's depth).
    """

    wind_kt: float
    gust_kt: float | None
    sea_m: float
    steepness: float | None = None
    thunder_pct: float | None = None
    visibility_nm: float | None = None

    def tightened_by(self, other: Limits) -> Limits:
        """The stricter of both, limit by limit."""

        def stricter(name: str) -> float | None:
            given: list[float] = [v for v in (getattr(self, name), getattr(other, name)) if v is not None]
            if not given:
                return None
            return max(given) if name == "visibility_nm" else min(given)

        return Limits(**{f.name: stricter(f.name) for f in fields(self)})  # type: ignore[arg-type]

    def given(self) -> dict[str, float]:
        """The limits that are set, by name."""
        values = {f.name: getattr(self, f.name) for f in fields(self)}
        return {name: value for name, value in values.items() if value is not None}
