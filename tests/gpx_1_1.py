"""What the GPX 1.1 schema asks of a file, as a check of its structure.

Written by hand from the schema of the standard, http://www.topografix.com/GPX/1/1/gpx.xsd: children in the order
of each type's sequence, required attributes, and the ranges of simple types.
"""

from __future__ import annotations

import re
from datetime import datetime
from xml.etree import ElementTree

NAMESPACE = "{http://www.topografix.com/GPX/1/1}"

_POINT = (
    "ele time magvar geoidheight name cmt desc src link* sym type fix sat hdop vdop pdop ageofdgpsdata dgpsid "
    "extensions"
)
CHILDREN = {
    "gpx": "metadata wpt* rte* trk* extensions",
    "metadata": "name desc author copyright link* time keywords bounds extensions",
    "wpt": _POINT,
    "rte": "name cmt desc src link* number type extensions rtept*",
    "rtept": _POINT,
    "trk": "name cmt desc src link* number type extensions trkseg*",
    "trkseg": "trkpt* extensions",
    "trkpt": _POINT,
}
ATTRIBUTES = {
    "gpx": {"version", "creator"},
    "wpt": {"lat", "lon"},
    "rtept": {"lat", "lon"},
    "trkpt": {"lat", "lon"},
}
_DECIMAL = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)")
_SCHEMA_LOCATION = "{http://www.w3.org/2001/XMLSchema-instance}schemaLocation"


def faults_of(file: bytes) -> list[str]:
    """What the schema would refuse, one line each."""
    root = ElementTree.fromstring(file)
    if root.tag != f"{NAMESPACE}gpx":
        return [f"the root is {root.tag}"]
    faults = [] if root.get("version") == "1.1" else [f"version {root.get('version')}"]
    return faults + _element(root, "gpx")


def _element(element: ElementTree.Element, path: str) -> list[str]:
    name = element.tag.removeprefix(NAMESPACE)
    given = set(element.attrib) - {_SCHEMA_LOCATION}
    faults = []
    if given != ATTRIBUTES.get(name, set()):
        faults.append(f"{path}: attributes {sorted(given)}")
    for axis, least, most in (("lat", -90, 90), ("lon", -180, 180)):
        if axis in given:
            faults += _angle(element.get(axis) or "", least, most, f"{path}@{axis}", below=axis == "lon")
    if name in CHILDREN:
        faults += _order([child.tag.removeprefix(NAMESPACE) for child in element], CHILDREN[name].split(), path)
        if (element.text or "").strip():
            faults.append(f"{path}: text {element.text!r}")
    elif len(element):
        faults.append(f"{path}: children in a simple element")
    else:
        faults += _simple(name, element.text or "", path)
    for child in element:
        faults += _element(child, f"{path}/{child.tag.removeprefix(NAMESPACE)}")
    return faults


def _order(found: list[str], asked: list[str], path: str) -> list[str]:
    names = [name.removesuffix("*") for name in asked]
    unknown = [name for name in found if name not in names]
    if unknown:
        return [f"{path}: {unknown} are not of it"]
    faults = [] if sorted(found, key=names.index) == found else [f"{path}: out of order {found}"]
    once = [name for name in asked if not name.endswith("*")]
    return faults + [f"{path}: {name} more than once" for name in once if found.count(name) > 1]


def _angle(text: str, least: float, most: float, path: str, *, below: bool) -> list[str]:
    """``longitudeType`` ends below 180, ``latitudeType`` at 90; a decimal of the schema has no exponent."""
    if not _DECIMAL.fullmatch(text):
        return [f"{path}: {text!r} is no decimal"]
    value = float(text)
    inside = least <= value < most if below else least <= value <= most
    return [] if inside else [f"{path}: {value} is out of range"]


def _simple(name: str, text: str, path: str) -> list[str]:
    if name == "number" and not text.isdecimal():
        return [f"{path}: {text!r} is no whole number from 0"]
    if name == "time":
        try:
            datetime.fromisoformat(text)
        except ValueError:
            return [f"{path}: {text!r} is no date and time"]
    return []
