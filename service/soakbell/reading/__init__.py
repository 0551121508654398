"""What the house understood of any one payload, for people and for programs.

Everything here is reckoned at the payload's own times; the clock plays no part. Nothing raises: what can't be
read as its kind is ``refused``, with the reason.
"""

from soakbell.reading.payload import NOT_USED, READER_FAILED, Understood, as_json, as_text, understand
from soakbell.reading.printing import WIDTH

__all__ = ["NOT_USED", "READER_FAILED", "WIDTH", "Understood", "as_json", "as_text", "understand"]
