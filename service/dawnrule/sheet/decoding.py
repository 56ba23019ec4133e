"""Which characters do the bytes of a text file mean?"""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass

from dawnrule.errors import MalformedInput
from dawnrule.vocabulary.said import say

_UTF_8, _WINDOWS_1252 = "utf-8", "windows-1252"
_MARKS = {
    codecs.BOM_UTF8: _UTF_8,
    codecs.BOM_UTF16_LE: "utf-16-le",
    codecs.BOM_UTF16_BE: "utf-16-be",
}
_NOT_TEXT = re.compile(r"[\x00-\x08\x0e-\x1f]")
_NO_SHEETS = {
    b"\xd0\xcf\x11\xe0": "sheet.is_old_excel",
    b"%PDF": "sheet.is_pdf",
    b"<": "sheet.is_markup",
}


@dataclass(frozen=True, slots=True)
class Decoded:
    """A file's text without its byte order mark, and how it was encoded. ``was_guessed``: the
    bytes fit no encoding that proves itself."""

    text: str
    encoding: str
    has_mark: bool = False
    was_guessed: bool = False

    @property
    def encoding_in_words(self) -> str:
        """The encoding, and whether it was guessed."""
        return say("sheet.guessed", encoding=self.encoding) if self.was_guessed else self.encoding


def decode(data: bytes) -> Decoded:
    """A byte order mark decides, else UTF-8 if the bytes are, else Windows-1252, which is then
    guessed. Raises ``MalformedInput`` for what is no text."""
    _refuse_other_files(data)
    decoded = _marked(data) or _unmarked(data)
    found = _NOT_TEXT.search(decoded.text)
    if found:
        line = decoded.text.count("\n", 0, found.start()) + 1
        raise MalformedInput(say("sheet.no_text", line=line))
    return decoded


def _refuse_other_files(data: bytes) -> None:
    start = data.removeprefix(codecs.BOM_UTF8).lstrip()
    for magic, refusal in _NO_SHEETS.items():
        if start.startswith(magic):
            raise MalformedInput(say(refusal))


def _marked(data: bytes) -> Decoded | None:
    for mark, encoding in _MARKS.items():
        if data.startswith(mark):
            try:
                text = data.removeprefix(mark).decode(encoding)
            except UnicodeDecodeError as error:
                message = say("sheet.not_as_marked", encoding=encoding.upper())
                raise MalformedInput(message) from error
            return Decoded(text, encoding, has_mark=True)
    return None


def _unmarked(data: bytes) -> Decoded:
    try:
        return Decoded(data.decode(_UTF_8), _UTF_8)
    except UnicodeDecodeError:
        pass
    try:
        return Decoded(data.decode(_WINDOWS_1252), _WINDOWS_1252, was_guessed=True)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise MalformedInput(say("sheet.no_encoding", line=line)) from error
