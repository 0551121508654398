"""A page as its reader meets it."""

from __future__ import annotations

from html.parser import HTMLParser

VOID = {"meta", "img", "br"}


class Page(HTMLParser):
    """The page as a reader meets it: its words, its tags, and whether every tag is closed in order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(html)
        self.close()
        assert not self.open, f"left open: {self.open}"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> without a begin"
        assert self.open[-1] == tag, f"</{tag}> closes <{self.open[-1]}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if "title" not in self.open:
            self.words += data.split()

    @property
    def text(self) -> str:
        return " ".join(self.words)
