"""Athletes as sheets name them: by id, by name, or by a first name that only one of them has.

Spreadsheets write a capital where a cell begins, so the capitals of an id do not matter.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property
from unicodedata import normalize

from dawnrule.i18n.lazy import lazy, lazy_join
from dawnrule.sheet.errors import CellError

_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
_LONGEST_ID = 40
_LONGEST = 60  # letters of a name that is compared
_MOST_COMPARED = 50
_NEAR = 0.75  # difflib's ratio, 0 to 1


@dataclass(frozen=True)
class People:
    """The athletes whom a sheet may name, by id with their names."""

    names: Mapping[str, str]

    @classmethod
    def of(cls, people: Iterable[tuple[str, str]]) -> People:
        """Make a people of ids and names."""
        return cls(dict(people))

    def find(self, text: str) -> str:
        """Return the id of whom a cell names. A word that could be an id, and is like no name,
        comes back as it is, to be refused as an unknown athlete. Raises ``CellError``."""
        written = " ".join(text.split())
        if written in self.names:
            return written
        wanted = self.ids_of(written)
        if len(wanted) == 1:
            return wanted[0]
        if wanted:
            either = lazy_join([self._in_words(one) for one in wanted], lazy("sheet.or"))
            raise CellError(lazy("sheet.several_athletes", either=either))
        near = self._near(written)
        if near:
            either = lazy_join([self._in_words(one) for one in near], lazy("sheet.or"))
            raise CellError(lazy("sheet.near_athlete", near=either))
        if _ID.fullmatch(written):
            return written
        raise CellError(lazy("sheet.new_athlete"))

    @property
    def written(self) -> Mapping[str, str]:
        """Map the ids that were made of names to these."""
        return {}

    @classmethod
    def of_a_file(cls) -> People:
        """Make a people for a file that is read without a database: everybody in it is known, and a
        name becomes an id."""
        return _OfAFile({})

    def knows(self, text: str) -> bool:
        """Tell whether a cell names one or several athletes."""
        written = " ".join(text.split())
        return written in self.names or bool(self.ids_of(written))

    def ids_of(self, written: str) -> Sequence[str]:
        """Return the ids of those whose id, whatever its capitals, or name, or else first or last
        name, a text is."""
        key = written.casefold()
        turned = " ".join(part.strip() for part in reversed(key.split(",")))
        named = self._by_name.get(key) or self._by_name.get(turned) or ()
        whole = dict.fromkeys((*self._by_id.get(key, ()), *named))
        return [*whole] or self._by_part.get(key, ())

    @cached_property
    def _by_id(self) -> Mapping[str, Sequence[str]]:
        found: dict[str, list[str]] = {}
        for one in self.names:
            found.setdefault(one.casefold(), []).append(one)
        return found

    @cached_property
    def _by_name(self) -> Mapping[str, Sequence[str]]:
        found: dict[str, list[str]] = {}
        for one, name in self.names.items():
            found.setdefault(" ".join(name.split()).casefold(), []).append(one)
        return found

    @cached_property
    def _by_part(self) -> Mapping[str, Sequence[str]]:
        found: dict[str, list[str]] = {}
        for one, name in self.names.items():
            for part in dict.fromkeys(name.casefold().split()):
                found.setdefault(part, []).append(one)
        return found

    def _near(self, written: str) -> Sequence[str]:
        """Return whom a name is like; for so many names only, as it takes long in a large squad."""
        compared = self._compared
        if written not in compared and len(compared) < _MOST_COMPARED and len(written) <= _LONGEST:
            close = get_close_matches(written.casefold(), self._by_name, n=2, cutoff=_NEAR)
            compared[written] = [one for name in close for one in self._by_name[name]]
        return compared.get(written, ())

    @cached_property
    def _compared(self) -> dict[str, Sequence[str]]:
        return {}

    def _in_words(self, athlete_id: str) -> str:
        return f"{self.names[athlete_id]} ({athlete_id})"


class _OfAFile(People):
    """Everybody whom a file names."""

    @cached_property
    def written(self) -> dict[str, str]:
        """Map the ids that were made of names to these."""
        return {}

    def find(self, text: str) -> str:
        """Return an id as it is, and a name as one: its letters and digits, joined by hyphens."""
        written = " ".join(text.split())
        if _ID.fullmatch(written):
            return written
        plain = normalize("NFKD", written.replace("ß", "ss")).encode("ascii", "ignore").decode()
        made = "-".join(re.findall(r"[A-Za-z0-9]+", plain))[:_LONGEST_ID]
        self.written.setdefault(made, written)
        return made or written
