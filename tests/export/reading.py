"""Reads documents as others do: HTML by the standard library's parser, PDF by pypdf, which did not write it."""

import io
from dataclasses import dataclass
from html.parser import HTMLParser
from typing import Any

from pypdf import PdfReader
from pypdf.generic import IndirectObject

VOID = {"meta", "br", "hr", "img", "link", "input"}


class Page(HTMLParser):
    """An HTML page: its words, and every element with its attributes. Elements that do not close are an error."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.words: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self._open:
            self.words.append(data.strip())

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """The attributes of each element of a kind, in order."""
        return [attributes for name, attributes in self.elements if name == tag]


@dataclass(frozen=True)
class Sheets:
    """A PDF as pypdf has it: the words of each page, and which fonts are inside."""

    reader: PdfReader

    @classmethod
    def of(cls, data: bytes) -> "Sheets":
        return cls(PdfReader(io.BytesIO(data), strict=True))

    @property
    def pages(self) -> list[str]:
        return [" ".join(page.extract_text().split()) for page in self.reader.pages]

    @property
    def text(self) -> str:
        return " ".join(self.pages)

    def root(self) -> dict[str, Any]:
        """The document's catalogue."""
        return dict(_whole(self.reader.trailer["/Root"]))

    def fonts(self) -> dict[str, bool]:
        """Each font that any page names, and whether its program is in the file."""
        found: dict[str, bool] = {}
        for page in self.reader.pages:
            for reference in _whole(page["/Resources"]).get("/Font", {}).values():
                font = _whole(reference)
                inside = [_whole(each) for each in _whole(font.get("/DescendantFonts", [font]))]
                about = [_whole(each.get("/FontDescriptor", {})) for each in inside]
                found[str(font["/BaseFont"])] = all("/FontFile2" in each for each in about)
        return found


def _whole(value: Any) -> Any:
    return value.get_object() if isinstance(value, IndirectObject) else value
