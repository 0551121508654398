"""The letter as mail: headers that can't be broken into, parts in order, equal bytes on every try."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from email import message_from_bytes
from email.header import decode_header, make_header
from email.message import EmailMessage
from email.policy import SMTP, compat32

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from scenes import FACTS, SCENES, STRINGS, Scene, est, letter_of, pull_morning, wait_by_wind
from soakbell.letters.letter import Letter, morning_letter
from soakbell.letters.message import to_message

every_scene = pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES)


def message(
    letter: Letter,
    to: tuple[str, ...] = ("skipper@example.com",),
    date: datetime | None = None,
    reply_to: str | None = None,
) -> EmailMessage:
    return to_message(
        letter,
        sender="Soakbell <bell@example.com>",
        to=to,
        message_id="<little-grebe.2026-12-08.morning.0@example.com>",
        date=date or est(4, 30),
        reply_to=reply_to,
    )


def parsed(mail: EmailMessage) -> EmailMessage:
    again = message_from_bytes(mail.as_bytes(), policy=SMTP)
    assert isinstance(again, EmailMessage)
    return again


def shape(part: EmailMessage) -> object:
    if part.is_multipart():
        return (part.get_content_subtype(), [shape(p) for p in part.iter_parts()])
    return part.get_content_type()


def test_the_parts_come_in_the_order_that_readers_expect() -> None:
    """M10: text first, pictures as parts, files last."""
    text_and_page = ("alternative", ["text/plain", ("related", ["text/html", "image/png"])])
    assert shape(parsed(message(letter_of(pull_morning)))) == (
        "mixed",
        [text_and_page, "text/calendar", "application/gpx+xml"],
    )
    assert shape(parsed(message(letter_of(wait_by_wind)))) == ("mixed", [text_and_page])


@every_scene
def test_what_was_written_is_what_arrives(scene: Callable[[], Scene]) -> None:
    letter = letter_of(scene)
    mail = parsed(message(letter))
    assert mail["Subject"] == letter.subject
    plain, page = mail.get_body(("plain",)), mail.get_body(("html",))
    assert plain is not None
    assert page is not None
    assert plain.get_content().replace("\r\n", "\n") == letter.text
    assert page.get_content().replace("\r\n", "\n") == letter.html
    files = {p.get_filename(): p.get_payload(decode=True) for p in mail.walk() if p.get_filename()}
    assert files == {a.filename: a.content for a in letter.attachments}


def test_the_headers_say_that_a_machine_wrote_it() -> None:
    """M6, M8: Auto-Submitted as in RFC 3834 section 5; Message-ID and Date as given."""
    mail = parsed(message(letter_of(pull_morning), to=("skipper@example.com", "mate@example.com")))
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["Message-ID"] == "<little-grebe.2026-12-08.morning.0@example.com>"
    assert mail["Date"].datetime == est(4, 30)
    assert mail["To"] == "skipper@example.com, mate@example.com"
    assert "Precedence" not in mail


def test_answers_go_to_whoever_is_named_for_them() -> None:
    """RFC 5322 section 3.6.2: without a Reply-To they go to the sender."""
    letter = letter_of(wait_by_wind)
    assert parsed(message(letter, reply_to="skipper@example.com"))["Reply-To"] == "skipper@example.com"
    assert "Reply-To" not in parsed(message(letter))
    with pytest.raises(Exception, match=r".") as refusal:  # HeaderParseError or ValueError, as the library says
        message(letter, reply_to="skipper@example.com\r\nBcc: b@example.com")
    assert not isinstance(refusal.value, AssertionError)


def test_equal_arguments_give_equal_bytes() -> None:
    """M6: each try of sending carries the same message."""
    first, second = (message(pull_morning().letter()).as_bytes() for _ in range(2))
    assert first == second
    assert len({p.get_boundary() for p in message(letter_of(pull_morning)).walk() if p.is_multipart()}) == 3


def subject_as_sent(subject: str) -> list[bytes]:
    """The raw lines of the header, the first without its name."""
    raw = message(Letter(subject, "text", "<p>text</p>", ())).as_bytes()
    head, _, _ = raw.partition(b"\r\n\r\n")
    after = head[head.index(b"Subject:") + len(b"Subject:") :].split(b"\r\n")
    more = [line[:1] == b" " for line in after[1:]]
    return after[: 1 + (more.index(False) if False in more else len(more))]


@given(
    st.lists(
        st.one_of(
            st.text("abcELXg:,|.\"'-()019", min_size=1, max_size=20),
            st.sampled_from(["Grèbe", "小", "Große", "Eve:", '"...SMALL', "=?x?="]),
        ),
        min_size=1,
        max_size=40,
    )
)
@example(["Eve:", "WAIT", '"...SMALL', "CRAFT", 'ADVISORY..."'])
@example(["x" * 90, "Little", "Grebe"])
def test_a_subject_begins_on_its_first_line_and_arrives_whole(words: list[str]) -> None:
    """RFC 2047 section 2: no line with an encoded word is longer than 76. RFC 5322 section 2.1.1: 998 at most."""
    subject = " ".join(words)
    lines = subject_as_sent(subject)
    first = str(make_header(decode_header(lines[0].decode().strip())))
    assert first
    assert subject.startswith(first)
    assert all(len(line) <= 998 for line in lines)
    assert all(len(line) <= 76 for line in lines if b"=?" in line and not subject.isascii())
    raw = message(Letter(subject, "text", "<p>text</p>", ())).as_bytes()
    old = message_from_bytes(raw, policy=compat32)
    unfolded = old["Subject"].replace("\r\n", "").replace("\n", "")
    if subject.isascii():
        assert unfolded == subject
    else:
        assert str(make_header(decode_header(old["Subject"]))) == subject


def test_no_line_is_longer_than_mail_allows() -> None:
    """RFC 5322 section 2.1.1: 998 octets."""
    assert max(len(line) for line in message(letter_of(pull_morning)).as_bytes().split(b"\r\n")) <= 998


@pytest.mark.parametrize("boat", ["Grebe\r\nBcc: all@example.com", "Grebe\nX: y", "Grebe\rX", "Grebe\u2028X"])
def test_a_boat_name_with_a_line_end_is_refused(boat: str) -> None:
    """M7: it can't add a header."""
    scene = pull_morning()
    letter = morning_letter(scene.call, replace(FACTS, boat=boat), kind="morning", previous=None)
    with pytest.raises(ValueError, match="linefeed or carriage return"):
        message(letter)


@pytest.mark.parametrize(
    "to", ["a@example.com, b@example.com", "a@example.com\r\nBcc: b@example.com", "nobody", ""]
)
def test_an_address_that_is_not_one_is_refused(to: str) -> None:
    """M7."""
    with pytest.raises(Exception, match=r".") as refusal:  # HeaderParseError or ValueError, as the library says
        message(letter_of(wait_by_wind), to=(to,))
    assert not isinstance(refusal.value, AssertionError)


def test_a_letter_to_nobody_or_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one address"):
        message(letter_of(wait_by_wind), to=())
    with pytest.raises(ValueError, match="needs a zone"):
        message(letter_of(wait_by_wind), date=datetime(2026, 12, 8, 4, 30))  # noqa: DTZ001


def test_names_beyond_ascii_arrive_whole() -> None:
    scene = pull_morning()
    strings = tuple(replace(s, name="Große Bank" if s.name == "Nine Foot" else s.name) for s in STRINGS)
    window = scene.call.window
    assert window is not None
    pulls = (replace(window.pulls[0], string="Große Bank"), *window.pulls[1:])
    call = replace(scene.call, window=replace(window, pulls=pulls))
    facts = replace(FACTS, boat="Petit Grèbe 小", strings=strings)
    mail = parsed(message(morning_letter(call, facts, kind="morning", previous=None)))
    assert "Petit Grèbe 小" in mail["Subject"]
    assert "Große Bank" in mail["Subject"]
    plain = mail.get_body(("plain",))
    assert plain is not None
    assert "Große Bank" in plain.get_content()


def test_the_picture_is_found_by_its_content_id() -> None:
    mail = parsed(message(letter_of(pull_morning)))
    (picture,) = [p for p in mail.walk() if p.get_content_type() == "image/png"]
    assert picture["Content-ID"] == "<chart@soakbell>"
    assert picture.get_content_disposition() == "inline"
