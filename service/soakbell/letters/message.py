"""The letter as a mail message."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from email.header import Header
from email.headerregistry import Address, HeaderRegistry, UniqueUnstructuredHeader
from email.message import EmailMessage
from email.policy import SMTP, Policy

from soakbell.letters.letter import Letter

FOLD_AT = 76
"""Columns of a line with an encoded word (RFC 2047 section 2), and so of every line of a subject."""


class _Subject(UniqueUnstructuredHeader):
    """A subject that begins on the line of its name: a reader that shows the first line shows its first words.

    The library's own folding may leave that line empty, and loses blanks between encoded words.
    """

    name: str

    def fold(self, *, policy: Policy) -> str:
        text = str(self)
        if not text.isascii():
            header = Header(text, "utf-8", FOLD_AT, header_name=self.name)
            return f"{self.name}: {header.encode(linesep=policy.linesep)}{policy.linesep}"
        lines = [f"{self.name}:"]
        for at, word in enumerate(text.split(" ")):
            if at and word and len(lines[-1]) + 1 + len(word) > FOLD_AT:
                lines.append(f" {word}")
            else:
                lines[-1] += f" {word}"
        return policy.linesep.join([*lines, ""])


_headers = HeaderRegistry()
_headers.map_to_type("subject", _Subject)  # type: ignore[arg-type]  # the registry adds its base itself
POLICY = SMTP.clone(header_factory=_headers)


def to_message(
    letter: Letter, *, sender: str, to: Sequence[str], message_id: str, date: datetime, reply_to: str | None = None
) -> EmailMessage:
    """The message, equal in every byte for equal arguments, so each try of sending carries the same one.

    Structure: mixed [alternative [text/plain, related [text/html, pictures]], files].
    ``to`` and ``reply_to`` are bare addresses; ``message_id`` has its angle brackets; ``date`` is aware.
    ``reply_to`` is who gets the answers, where not the sender.

    Raises:
        ValueError: a header value holds a line end (a boat's name can't add headers), an address isn't one,
            or ``date`` has no zone.
    """
    if date.tzinfo is None:
        raise ValueError("the Date of a letter needs a zone")
    if not to:
        raise ValueError("a letter needs at least one address")
    message = EmailMessage(policy=POLICY)
    message["From"] = sender
    message["To"] = tuple(Address(addr_spec=address) for address in to)
    if reply_to is not None:
        message["Reply-To"] = Address(addr_spec=reply_to)
    message["Subject"] = letter.subject
    message["Date"] = date
    message["Message-ID"] = message_id
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(letter.text, cte="quoted-printable")
    message.add_alternative(letter.html, subtype="html", cte="quoted-printable")
    page = list(message.iter_parts())[-1]
    for picture in (a for a in letter.attachments if a.cid is not None):
        page.add_related(
            picture.content,
            picture.maintype,
            picture.subtype,
            cid=f"<{picture.cid}>",
            filename=picture.filename,
            disposition="inline",
        )
    message.make_mixed()
    for file in (a for a in letter.attachments if a.cid is None):
        message.add_attachment(file.content, file.maintype, file.subtype, filename=file.filename)
    for number, part in enumerate(_multiparts(message)):
        part.set_boundary(hashlib.sha256(f"{message_id} {number}".encode()).hexdigest()[:40])
    return message


def _multiparts(message: EmailMessage) -> Iterator[EmailMessage]:
    parts: Iterable[EmailMessage] = message.walk()
    return (part for part in parts if part.is_multipart())
