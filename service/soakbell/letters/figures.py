"""Numbers with their units, and the names of what they measure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from soakbell.units import ft_from_m, is_number


def _digits(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def amount(value: float) -> str:
    """A plain number with at most two decimals: ``2``, ``0.25``.

    Raises:
        ValueError: ``value`` isn't a finite number.
    """
    if not is_number(value):
        raise ValueError(f"an amount is {value!r}; what isn't known must not be written as a number")
    return _digits(float(value), 2)


@dataclass(frozen=True)
class _Quantity:
    """``past`` is the word for the wrong side of the limit; ``decimals`` what is shown where nothing is near."""

    name: str
    short: str
    unit: str
    decimals: int = 1
    past: str = "over"
    kept: str = "under"
    convert: Callable[[float], float] = float
    aside: Callable[[float, int], str] | None = None


QUANTITY: dict[str, _Quantity] = {
    "wind_kt": _Quantity("Wind", "wind", " kt"),
    "gust_kt": _Quantity("Gusts", "gusts", " kt"),
    "sea_m": _Quantity(
        "Seas", "seas", " ft", convert=ft_from_m, aside=lambda value, decimals: f" ({_digits(value, decimals)} m)"
    ),
    "steepness": _Quantity("Wave steepness", "steepness", "", decimals=3),
    "thunder_pct": _Quantity("Chance of thunder", "thunder", "%", decimals=0),
    "visibility_nm": _Quantity("Visibility", "visibility", " nmi", past="under", kept="over"),
    "period_s": _Quantity("Wave period", "wave period", " s", past="under", kept="over"),
    "wind_from_deg": _Quantity("Wind direction", "wind direction", " degrees", decimals=0),
}
"""All quantities a call may speak of. Another one is a fault of the caller."""


def named(quantity: str) -> _Quantity:
    """Raises ValueError where the letters have no words for ``quantity``."""
    try:
        return QUANTITY[quantity]
    except KeyError:
        raise ValueError(f"no words for the quantity {quantity!r}; give it some in letters/figures.py") from None


def _decimals_apart(kind: _Quantity, value: float, other: float | None) -> int:
    """As few decimals as show ``value`` and ``other`` to differ where they do."""
    if other is None or value == other:
        return kind.decimals
    for decimals in range(kind.decimals, 6):
        if _digits(kind.convert(value), decimals) != _digits(kind.convert(other), decimals):
            return decimals
    return 6


def _checked(quantity: str, value: object) -> float:
    if not is_number(value):
        raise ValueError(f"{quantity} is {value!r}; what isn't known must not be written as a number")
    return float(value)  # type: ignore[arg-type]


def figure(quantity: str, value: object, beside: float | None = None) -> str:
    """``22 kt``, ``2.6 ft (0.8 m)``; with enough digits to tell it from ``beside``, the limit it is held against.

    Raises:
        ValueError: ``value`` isn't a finite number, or ``quantity`` has no words.
    """
    kind, number = named(quantity), _checked(quantity, value)
    decimals = _decimals_apart(kind, number, beside)
    aside = kind.aside(number, decimals) if kind.aside else ""
    return f"{_digits(kind.convert(number), decimals)}{kind.unit}{aside}"


def short_figure(quantity: str, value: object, beside: float | None = None) -> str:
    """One unit only, for a subject or a narrow cell: ``2.6 ft``."""
    kind, number = named(quantity), _checked(quantity, value)
    return f"{_digits(kind.convert(number), _decimals_apart(kind, number, beside))}{kind.unit}"


def bare_figure(quantity: str, value: object, beside: float | None = None) -> str:
    """Without its unit: ``2.6``."""
    kind, number = named(quantity), _checked(quantity, value)
    return _digits(kind.convert(number), _decimals_apart(kind, number, beside))


def limit_words(quantity: str, limit: float) -> str:
    """``wind 15 kt``, ``visibility at least 2 nmi``."""
    kind = named(quantity)
    least = "at least " if kind.past == "under" else ""
    return f"{kind.short} {least}{figure(quantity, limit)}"


def past_limit_short(quantity: str, value: object, limit: object) -> str:
    """``wind 22 kt over 15``, or ``wind 14 kt of 15`` where the limit holds."""
    kind, number, most = named(quantity), _checked(quantity, value), _checked(quantity, limit)
    outside = number < most if kind.past == "under" else number > most
    held = "of" if kind.past == "over" else "over"
    value_words, most_words = short_figure(quantity, number, most), bare_figure(quantity, most, number)
    return f"{kind.short} {value_words} {kind.past if outside else held} {most_words}"


def margin_words(quantity: str, margin: float) -> str:
    """``2 kt under the limit``, ``7 kt over the limit``, ``exactly at the limit``."""
    kind = named(quantity)
    if margin == 0:
        return "exactly at the limit"
    return f"{figure(quantity, abs(margin), 0.0)} {kind.kept if margin > 0 else kind.past} the limit"
