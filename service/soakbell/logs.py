"""Log lines as JSON: a short sentence and named fields. No address, position or secret gets into a line."""

from __future__ import annotations

import json
import logging
import re
import traceback
from datetime import UTC, datetime

FIELDS = (
    "action",
    "boat",
    "kind",
    "day",
    "turn",
    "late",
    "count",
    "accepted",
    "provider",
    "outcome",
    "fault",
    "why",
    "path",
    "notes",
)

_ADDRESS = re.compile(r"[^\s<>@,;:'\"()]+@[^\s<>@,;:'\"()]+")
_POSITION = re.compile(
    r"-?\d{1,3}\.\d+(?:\s*,\s*|%2C)-?\d{1,3}\.\d+"
    r"|(?<![\d.])-?\d{1,3}\.\d{2,}\s+-?\d{1,3}\.\d{2,}(?![\d.])"
    r"|\b(?:lat|lon)(?:itude|gitude)?(?:_deg)?['\"]?\s*[=:]\s*-?\d+(?:\.\d+)?"
    r"|-?\d{1,3}(?:\.\d+)?\s*°\s*(?:[\d.]+\s*['′’\"″]\s*)*(?:[\d.]+\s*)?[NSEW]\b",
    re.IGNORECASE,
)


def scrubbed(text: str) -> str:
    """``text`` without mail addresses and positions."""
    return _POSITION.sub("(position)", _ADDRESS.sub("(address)", text))


def fault_text(fault: BaseException) -> str:
    """Its class and what it says, scrubbed."""
    return scrubbed(f"{type(fault).__name__}: {str(fault) or 'no reason given'}")


class JsonLines(logging.Formatter):
    """One JSON object a line. Only the fields in FIELDS are taken from ``extra``."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "said": scrubbed(record.getMessage()),
            "by": record.name,
        }
        for name in FIELDS:
            value = getattr(record, name, None)
            if value is not None:
                line[name] = value if isinstance(value, (bool, int, float)) else scrubbed(str(value))
        if record.exc_info is not None and record.exc_info[1] is not None:
            line["trace"] = _trace(record.exc_info[1])
        return json.dumps(line, ensure_ascii=False)


def _trace(fault: BaseException) -> list[str]:
    frames = traceback.extract_tb(fault.__traceback__)
    return [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames]


def log_to_stderr(level: int = logging.INFO) -> None:
    """Send everything that is logged to standard error as JSON lines, in place of what was set up before."""
    handler = logging.StreamHandler()
    handler.setFormatter(JsonLines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level)
    logging.getLogger("apscheduler").setLevel(logging.WARNING)  # else two lines at each waking
