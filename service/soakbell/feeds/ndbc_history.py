"""A past year of a buoy or shore station of the National Data Buoy Center, as ``42036h2020.txt.gz`` brings it.

Standard meteorological files of 2007 and later, plain or packed. Wind in m/s, sea in metres, times UTC, all nines
are holes. Manual: https://www.ndbc.noaa.gov/measdes.shtml. What ``feeds.buoys`` says of the wind holds here too.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Sequence

import pandas as pd

from soakbell.errors import NotUnderstood
from soakbell.feeds.buoys import parse_realtime
from soakbell.feeds.detect import PayloadKind, kind_of
from soakbell.sea.observations import StationReport

_MOST_BYTES = 64 * 2**20
"""A year of ten-minute rows has about 5 MB."""

_PACKED = b"\x1f\x8b"
_OLD_HEAD = re.compile(rb"\s*(YY|YYYY) +MM +DD +hh ")
_FILE_NAME = re.compile(r"([a-z0-9]{4,7})[a-z]([0-9]{4})\.txt(\.gz)?", re.IGNORECASE)


def parse_history(body: bytes, where: str) -> StationReport:
    """Read one year.

    Args:
        where: what errors call the file.

    Raises:
        NotUnderstood: another kind of file, or one that doesn't fit its form (by line).
    """
    text = _unpacked(body, where) if body.startswith(_PACKED) else body
    if _OLD_HEAD.match(text):
        raise NotUnderstood(
            f"{where}: found a file of 2006 or before; expected two lines that begin with #, as since"
        )
    kind = kind_of(text)
    if kind is not PayloadKind.NDBC_STDMET:
        raise NotUnderstood(f"{where}: found {kind.value}; expected a year of standard meteorological history")
    return parse_realtime(text, where)


def joined(years: Sequence[StationReport]) -> pd.DataFrame:
    """The rows of several files, oldest first. What stands in two of them is there twice."""
    return pd.concat([year.rows for year in years]).sort_index(kind="stable")


def station_of(file_name: str) -> str | None:
    """The station's id by the name that the center gives such a file, in capitals; None for another name."""
    found = _FILE_NAME.fullmatch(file_name)
    return found[1].upper() if found else None


def _unpacked(body: bytes, where: str) -> bytes:
    unpacker = zlib.decompressobj(wbits=31)
    try:
        text = unpacker.decompress(body, _MOST_BYTES)
    except zlib.error as fault:
        raise NotUnderstood(f"{where}: expected a gzip file, found a broken one: {fault}") from fault
    if not unpacker.eof:
        what = "a longer one" if unpacker.unconsumed_tail else "one that is cut short"
        raise NotUnderstood(
            f"{where}: expected a gzip file of at most {_MOST_BYTES >> 20} MB unpacked, found {what}"
        )
    return text
