"""Every error the house raises on purpose.

SoakbellError
    SettingsError         one or more faults in the settings, all told at once
    LogRefused            one or more log entries that can't be taken
    NotUnderstood         a payload or phrase that can't be read
    FetchFailed           a source couldn't be reached or answered with a fault
      HostNotFound        its name has no address, as when this computer isn't online
      UnusableReply       it answered with what can't be used (feeds.transport)
    StoreError            the database can't be used as it is
      ClaimLost           another process has the letter (store.letters)
    MailRefused           the mail server said no
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class SoakbellError(Exception):
    """Base of all errors raised on purpose."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input: where it is, what was found, and what to write instead."""

    where: str
    key: str
    found: str
    write: str

    def __str__(self) -> str:
        return f"{self.where}: {self.key}: found {self.found}; write {self.write}"


class _Faults(SoakbellError):
    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class SettingsError(_Faults):
    """The settings can't be used. Carries all faults found, not only the first."""


class LogRefused(_Faults):
    """Log entries that can't be taken. Nothing of the batch was written."""


class NotUnderstood(SoakbellError):
    """A payload can't be read. The message says what was expected and what was found."""


class FetchFailed(SoakbellError):
    """A source gave no usable reply.

    ``retry`` says whether asking again later may help; ``status`` is the HTTP status where there was one.
    """

    def __init__(self, message: str, *, retry: bool, status: int | None = None) -> None:
        super().__init__(message)
        self.retry = retry
        self.status = status


class HostNotFound(FetchFailed):
    """The name of the service's host has no address: it is misspelt, or this computer isn't online."""


class StoreError(SoakbellError):
    """The database can't be used as it is. The message says what to do."""


class MailRefused(SoakbellError):
    """The mail server refused. ``permanent`` is true for 5yz replies (RFC 5321 section 4.2.1)."""

    def __init__(self, message: str, *, permanent: bool) -> None:
        super().__init__(message)
        self.permanent = permanent
