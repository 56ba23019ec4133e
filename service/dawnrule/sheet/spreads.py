"""Cells that say several things, or one in a way of their own: a region of the body, a list of sore
muscles, yes or no to a sign, a comment."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from dawnrule.i18n.lazy import LazyText, lazy, lazy_list
from dawnrule.sheet.amounts import sets_and_reps
from dawnrule.sheet.cells import (
    Cell,
    CellValue,
    cell_text,
    means_none,
    parse_number,
    rating_from_cell,
)
from dawnrule.sheet.columns import Column, HeaderWords, Path, plain_name
from dawnrule.sheet.dangers import Dangers, dangers_in
from dawnrule.sheet.errors import CellError
from dawnrule.sheet.words import SheetWords

COMMENTED = "pain_in_comment"
"""In the path of a pain that a comment tells of; its place follows."""

_BETWEEN = re.compile(r"\s*(?:[;\r\n]|,(?![0-9])|(?<=[0-9]),(?=\s)|\+|&|\band\b|\bund\b)\s*")
_GROUP_AND_NUMBER = re.compile(
    r"(?P<words>[^\d:=]*[^\W\d][^\d:=]*?)\s*[:=-]?\s*(?P<number>[0-9].*)"
)
_EXPLANATION = re.compile(r"[,(]")
_MOST_WHERE = 100  # characters that a pain's place may have
_TEN = 10


def read_spread(column: Column, cell: Cell, header: str, place: int) -> CellValue:
    """Read a cell that is not blank, of a column that spreads. Raises ``CellError``."""
    return _READERS[column.kind](column, cell, header, place)


def _read_region(column: Column, cell: Cell, header: str, place: int) -> CellValue:
    rating = rating_from_cell(column, cell)
    return CellValue(None, also={("soreness", group): rating for group in column.groups})


def _read_list(column: Column, cell: Cell, header: str, place: int) -> CellValue:
    """Read quads 2.5, hams 3: words before their number; none is said of every group."""
    text = cell_text(cell).strip()
    known = SheetWords.bundled().groups_by_word
    if means_none(text):
        return CellValue(None, also={("soreness", group): 0 for group in known["all"]})
    ratings: dict[Path, Any] = {}
    for part in filter(None, _BETWEEN.split(text)):
        found = _GROUP_AND_NUMBER.fullmatch(part)
        groups = known.get(plain_name(found["words"])) if found else None
        if found is None or groups is None:
            raise CellError(lazy("sheet.no_list_of_soreness", part=part))
        for group in groups:
            rating = parse_number(column, found["number"])
            ratings["soreness", group] = max(rating, ratings.get(("soreness", group), 0))
    return CellValue(None, also=ratings)


def _read_sign(column: Column, cell: Cell, header: str, place: int) -> CellValue:
    if _says_no(cell):
        return CellValue(None, lazy("sheet.no_to_one"), shown=_no())
    return CellValue(None, also={("warning_signs",): [column.about]})


def _read_illness(column: Column, cell: Cell, header: str, place: int) -> CellValue:
    if _says_no(cell):
        return CellValue(None, lazy("sheet.no_to_one"), shown=_no())
    return CellValue(None, also={("illness",): column.about})


def _read_pain_at(column: Column, cell: Cell, header: str, place: int) -> CellValue:
    if _says_no(cell):
        return CellValue(None, lazy("sheet.no_to_one"), shown=_no())
    text = cell_text(cell).strip()
    pain: dict[str, Any] = {"where": f"{header}: {text}"[:_MOST_WHERE], "place": column.about}
    number = _number(text)
    if number is not None and 0 <= number <= _TEN:
        pain |= {"where": header[:_MOST_WHERE], "severity": number}
    return CellValue(None, also=_pain(pain, place))


def _read_comment(column: Column, cell: Cell, header: str, place: int) -> CellValue:
    """Take the dangers that a comment tells of; all else in it is for people."""
    told = dangers_in(cell_text(cell))
    also: dict[Path, Any] = {}
    if told.warning_signs:
        also["warning_signs",] = list(told.warning_signs)
    if told.illness:
        also["illness",] = told.illness
    if told.pain_where:
        also |= _pain({"where": told.pain_where}, place)
    if not also:
        return CellValue(None, lazy("sheet.comment_turned") if told.is_turned else "")
    remark = "sheet.comment_danger_turned" if told.is_turned else "sheet.comment_danger"
    return CellValue(None, lazy(remark, taken=_taken_as(told)), also)


def _taken_as(told: Dangers) -> LazyText:
    """Say what a comment was taken for, by the labels of it."""
    signs = [_label("sheet.taken_sign", f"warning_signs.{one}") for one in told.warning_signs]
    illness = [_label("sheet.taken_illness", f"illnesses.{told.illness}")] if told.illness else []
    pain = [lazy("sheet.taken_pain")] if told.pain_where else []
    return lazy_list([*signs, *illness, *pain])


def _label(said: str, name: str) -> LazyText:
    """Say a label without what explains it behind a comma or in brackets."""
    return lazy(said, which=LazyText(lambda texts: _EXPLANATION.split(texts.say(name))[0].strip()))


def _read_sets_by_reps(column: Column, cell: Cell, header: str, place: int) -> CellValue:
    both = sets_and_reps(cell_text(cell))
    if both is None:
        raise CellError(lazy("sheet.no_sets_by_reps"))
    sets, reps = both
    return CellValue(None, also={(*column.path, "sets"): sets, (*column.path, "reps"): reps})


_READERS: Mapping[str, Callable[[Column, Cell, str, int], CellValue]] = {
    "region": _read_region,
    "list-of-soreness": _read_list,
    "sign": _read_sign,
    "ill": _read_illness,
    "pain-at": _read_pain_at,
    "comment": _read_comment,
    "sets-by-reps": _read_sets_by_reps,
}


def _pain(told: Mapping[str, Any], place: int) -> dict[Path, Any]:
    return {("pain", f"{COMMENTED}_{place}", name): value for name, value in told.items()}


def _says_no(cell: Cell) -> bool:
    if isinstance(cell, bool):
        return not cell
    text = cell_text(cell).strip()
    return _number(text) == 0 or plain_name(text) in HeaderWords.bundled().no or means_none(text)


def _no() -> LazyText:
    return lazy("sheet.a_no")


def _number(text: str) -> float | None:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return None


def merged(path: Path, before: Any, after: Any, worst: Callable[..., str]) -> Any:
    """Join what two cells of a row say of one thing, so that no danger is lost: the greater
    soreness, all signs, the worse illness."""
    if path[0] == "soreness" and isinstance(before, int | float) and isinstance(after, int | float):
        return max(before, after)
    if path == ("warning_signs",) and isinstance(before, Sequence) and isinstance(after, Sequence):
        return [*dict.fromkeys([*before, *after])]
    if path == ("illness",):
        return worst(before, after)
    return after
