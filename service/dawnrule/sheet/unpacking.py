"""Is a packed workbook what it says, and small enough to be opened?

What a zip file says of itself may be wrong on purpose. So every part is unpacked once, up to a
bound, before anything else looks at it.
"""

from __future__ import annotations

import io
import zlib
from zipfile import BadZipFile, ZipFile, ZipInfo

from dawnrule.errors import MalformedInput
from dawnrule.sheet.limits import MOST_BYTES_UNPACKED, MOST_TIMES_PACKED, SMALL_BYTES
from dawnrule.vocabulary.said import say

ZIP_START = b"PK"

_ENCRYPTED = 1
_DOCTYPE = "<!DOCTYPE"
_DOCTYPES = [_DOCTYPE.encode(encoding) for encoding in ("utf-8", "utf-16-le", "utf-16-be")]
_DAMAGED = "sheet.not_complete"


def unpacked(data: bytes) -> dict[str, bytes]:
    """The parts of a workbook by name. Raises ``MalformedInput`` for one that is damaged, or
    would grow out of proportion."""
    try:
        with ZipFile(io.BytesIO(data)) as packed:
            parts = packed.infolist()
            _refuse_overlapping(parts, len(data))
            return _all_parts(packed, parts)
    except (BadZipFile, EOFError, NotImplementedError, OSError, ValueError, zlib.error) as error:
        raise MalformedInput(say(_DAMAGED)) from error


def _all_parts(packed: ZipFile, parts: list[ZipInfo]) -> dict[str, bytes]:
    left = MOST_BYTES_UNPACKED
    found = {}
    for part in parts:
        content = _content(packed, part, left)
        left -= len(content)
        found[part.filename] = content
    return found


def _content(packed: ZipFile, part: ZipInfo, left: int) -> bytes:
    if part.flag_bits & _ENCRYPTED:
        raise MalformedInput(say("sheet.password"))
    most = min(left, max(SMALL_BYTES, part.compress_size * MOST_TIMES_PACKED))
    declared, part.file_size = part.file_size, most + 2  # read on behind the end that it declares
    with packed.open(part) as stream:
        content = stream.read(most + 1)
    part.file_size = declared
    if len(content) > most:
        raise MalformedInput(say("sheet.too_large"))
    if len(content) != declared:
        raise MalformedInput(say(_DAMAGED))
    if any(doctype in content for doctype in _DOCTYPES):
        raise MalformedInput(say("sheet.entities"))
    return content


def _refuse_overlapping(parts: list[ZipInfo], size: int) -> None:
    """A part that lies inside another, or is listed twice, is unpacked more often than it is
    stored."""
    is_twice = len({part.filename for part in parts}) < len(parts)
    if is_twice or sum(part.compress_size for part in parts) > size:
        raise MalformedInput(say(_DAMAGED))
