"""Meanings of columns: what the header and the cells of each are taken to say.

A column means what somebody chose for it, else what its words say. One that is not understood and
could tell of soreness, pain, illness, a sign, sleep or training is asked about: a sheet with such a
column is not taken until somebody has said what it is, or that it is to be ignored.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache, lru_cache
from typing import Literal

from dawnrule.model import Vocabulary
from dawnrule.sheet.cells import Cell, Record, cell_text, is_blank
from dawnrule.sheet.columns import MUSCLE_GROUP, Column, HeaderWords, Layout, plain_name
from dawnrule.sheet.dangers import dangers_in
from dawnrule.sheet.words import SheetWords, plain_word, words_of

IGNORED, COMMENT = "ignore", "comment"
_ALL = "soreness_all"
_LIST = "soreness_list"
_DATE, _STARTS_AT = "date", "starts_at"
_SHORTEST_IN_A_WORD = 4  # letters: painful contains pain; ill in skill does not count
_LONGEST_MISTYPED = 60  # characters: longer text is a sentence, and slow to compare
_SHORTEST_MISTYPED = 5  # letters: shorter words resemble too many others
_MISSPELLED = 0.82  # difflib's ratio, 0 to 1: takes illnes for illness, but not wellness
_SIMILAR = 0.7  # enough to choose between columns about one thing
_TEN = 10
_SAMPLES = 3
_WORDS_OF_A_SENTENCE = 4
_MOST_REMEMBERED = 4096  # headers, of whatever sheets
_MOST_LOOKED_AT = 200  # cells of a column, to tell what it may hold
_NUMBERED = re.compile(r"(?P<word>.*?)_?(?P<number>[1-9])")
_SMALL_NUMBER = re.compile("[0-9]{1,2}(?:[.,][0-9]{1,2})?")
_SCALE = re.compile("(?P<least>[0-9]{1,2}) *[-/_\N{EN DASH}] *(?P<most>[0-9]{1,2})(?![0-9])")
_LIST_OF_SORENESS = re.compile(r"[^\W\d].*[0-9]")

How = Literal["known", "chosen", "accepted", "comment", "unread", "asked"]


@dataclass(frozen=True, slots=True)
class ColumnMeaning:
    """What a column is taken to mean: the id of its meaning, None where it has none here, and how
    that was found. ``proposals`` are the likeliest meanings of one that is asked about, and
    ``samples`` are three of its values."""

    place: int
    header: str
    meaning: str | None
    column: Column | None
    how: How
    proposals: tuple[str, ...] = ()
    samples: tuple[str, ...] = ()


def meanings_of(
    layout: Layout,
    names: Sequence[str],
    body: Sequence[Record],
    chosen: Mapping[str, str],
    *,
    accept: bool = False,
) -> tuple[ColumnMeaning, ...]:
    """Find the meaning of each column. ``chosen`` maps headers, as they are compared, to the
    meanings that somebody chose; with ``accept`` the likeliest meaning of a column is taken without
    asking, and one without any is asked about still."""
    is_long = any(_is_long(layout, name) for name in names)
    dated = _dates_its_rows(layout, names, chosen)
    cells = _cells_by_place(body, len(names))
    found = []
    for place, name in enumerate(names):
        samples = tuple(dict.fromkeys(cell_text(cell).strip() for cell in cells[place]))[:_SAMPLES]
        one = _meaning(layout, name, cells[place], chosen, is_long=is_long)
        found.append(replace(one, place=place, samples=samples))
    if accept:
        found = [*_accepted(layout, found)]
    return tuple(_on_the_date(one) if dated else one for one in found)


def _accepted(layout: Layout, found: Sequence[ColumnMeaning]) -> Iterator[ColumnMeaning]:
    """Take the likeliest meaning of each column that is asked about, but for one that another
    column has."""
    given = {one.meaning for one in found}
    for one in found:
        if one.how == "asked" and one.proposals and one.proposals[0] not in given:
            one = _taken(layout, one, one.proposals[0], "accepted")
            given.add(one.meaning)
        yield one


def _on_the_date(one: ColumnMeaning) -> ColumnMeaning:
    """Read a start as a time of day, as another column holds the date."""
    if one.column is None or one.column.name != _STARTS_AT:
        return one
    return replace(one, column=replace(one.column, on_the_date=True))


def column_of_meaning(layout: Layout, meaning: str) -> Column | None:
    """Return the column that a meaning stands for; None for one to be ignored, and for an unknown
    one."""
    return layout.columns().get(meaning) or _columns_in_words(layout).get(meaning)


def all_meanings(layout: Layout) -> tuple[str, ...]:
    """Return every meaning that a column may be given, in the order in which people are told of
    them."""
    return (*layout.columns(), *_columns_in_words(layout), IGNORED)


@lru_cache(maxsize=_MOST_REMEMBERED)
def column_by_words(layout: Layout, header: str) -> Column | None:
    """Return the column that the words of a header say, whatever its cells hold."""
    known = layout.column_named(header)
    if known:
        return known
    word = plain_word(header)
    found = _words_in_words(layout).get(word) or layout.column_named(word) or _trial(layout, word)
    if found is None and word.rpartition("_")[2] in SheetWords.bundled().ways[COMMENT]:
        return _columns_in_words(layout)[COMMENT]
    return found


def _meaning(
    layout: Layout,
    name: str,
    cells: Sequence[Cell],
    chosen: Mapping[str, str],
    *,
    is_long: bool,
) -> ColumnMeaning:
    """Find the meaning of one column; what its place and samples are, its caller knows."""
    unknown = ColumnMeaning(0, name, None, None, "unread")
    if (meaning := chosen.get(plain_word(name))) is not None:
        return _taken(layout, unknown, meaning, "chosen")
    column = column_by_words(layout, name)
    if column and column.of_a_group and not is_long and column.name == "soreness":
        column = _soreness_alone(layout, column, cells)
    if column and column.kind == "comment":
        return replace(unknown, meaning=COMMENT, column=column, how="comment")
    if column:
        return replace(unknown, meaning=column.name, column=column, how="known")
    if not name or _is_ones_own(layout, name):
        return unknown
    if proposals := _asked_about(layout, name, cells):
        return replace(unknown, how="asked", proposals=tuple(filter(None, proposals)))
    return unknown


def _taken(layout: Layout, one: ColumnMeaning, meaning: str, how: How) -> ColumnMeaning:
    column = column_of_meaning(layout, meaning)
    if column and column.kind == "comment":
        return replace(one, meaning=meaning, column=column, how="comment", proposals=())
    return replace(one, meaning=meaning, column=column, how=how, proposals=())


def _is_ones_own(layout: Layout, name: str) -> bool:
    """Tell whether a column is the coach's own beyond doubt, or one of ours with answers."""
    word = plain_name(name)
    harmless = plain_word(name) in SheetWords.bundled().harmless
    return harmless or word in layout.answers or word.startswith(HeaderWords.bundled().own)


def _asked_about(layout: Layout, name: str, cells: Sequence[Cell]) -> list[str | None]:
    """Return what a column that is not understood likely means, the likeliest first; None stands
    for something that nobody can name, and an empty list for a column of one's own."""
    if has_other_scale(name):
        return [None]
    if not layout.is_of_mornings:
        return [*_by_nearness(layout, name), *_by_words_of_training(name, cells)]
    return [
        *_by_body(name),
        *_by_sign(layout, name),
        *_by_words(name),
        *_by_nearness(layout, name),
        *_by_cells(name, cells),
    ]


def _by_body(name: str) -> Iterator[str]:
    """Propose soreness of the regions that are named, or pain at the place."""
    words = words_of(name)
    sore = {"sore", "soreness", "doms", "muskelkater"}
    rest = "_".join(word for word in words if word not in sore)
    if set(words) & sore and rest in SheetWords.bundled().groups_by_word:
        yield from _of_region_word(rest)
        return
    bare = " ".join(word for word in words if not word.isdecimal())
    place = Vocabulary.bundled().pain_place(None, bare)
    sides = {word for names in SheetWords.bundled().sides.values() for word in names}
    if place and {*words_of(bare)} <= sides | {w for one in place.words for w in words_of(one)}:
        yield f"pain_at_{place.id}"


def _of_region_word(word: str) -> Iterator[str]:
    for region in SheetWords.bundled().every_region.values():
        if word in region.words:
            yield f"soreness_{plain_name(region.id)}"
    for group in HeaderWords.bundled().muscle_groups:
        if word in HeaderWords.bundled().of_muscle_group(group):
            yield f"soreness_{plain_name(group)}"


def _by_sign(layout: Layout, name: str) -> Iterator[str | None]:
    """Propose the column that may call for rest and is probably meant."""
    word = plain_name(name)
    for sign, words in HeaderWords.bundled().never_unread.items():
        if _may_mean(word, words):
            yield _likeliest_of(layout, word, sign)
            return


def _by_words(name: str) -> Iterator[str | None]:
    words = set(words_of(name)) | {plain_word(name)}
    for one in SheetWords.bundled().could_tell:
        if words & set(one["words"]):
            yield one["about"]
            return


def _by_words_of_training(name: str, cells: Sequence[Cell]) -> Iterator[None]:
    """Ask about a column of a sheet of sessions that speaks of training or of health: what it says
    has no place there that could be proposed."""
    words, known = {*words_of(name), plain_word(name)}, SheetWords.bundled()
    of_health = {word for one in known.could_tell for word in one["words"]}
    signs = HeaderWords.bundled().never_unread.values()
    speaks_of_it = words & {*known.could_tell_of_training, *of_health}
    may_be_sign = any(_may_mean(plain_name(name), of_sign) for of_sign in signs)
    if speaks_of_it or may_be_sign or any(dangers_in(cell_text(cell)) for cell in cells):
        yield None


def _by_nearness(layout: Layout, name: str) -> Iterator[str]:
    near = _near_column(layout, plain_name(name))
    if near:
        yield near


def _by_cells(name: str, cells: Sequence[Cell]) -> Iterator[str | None]:
    """Ask about ratings from 0 to 10, and about text that tells of a danger."""
    texts = [cell_text(cell).strip() for cell in cells]
    numbers = [_small_number(text) for text in texts]
    if texts and all(number is not None for number in numbers):
        yield None
    if any(_is_sentence(text) or dangers_in(text) for text in texts):
        yield COMMENT


def _is_sentence(text: str) -> bool:
    """Tell whether a text says something in words of its own, which may be anything."""
    return sum(word.isalpha() for word in words_of(text)) >= _WORDS_OF_A_SENTENCE


def _small_number(text: str) -> float | None:
    if not _SMALL_NUMBER.fullmatch(text):
        return None
    number = float(text.replace(",", "."))
    return number if number <= _TEN else None


def has_other_scale(name: str) -> bool:
    """Tell whether a header says a scale other than 0 to 10, as (1-5): what its ends mean nobody
    else knows, and on some 5 is the best."""
    found = _SCALE.search(name)
    return found is not None and (found["least"], found["most"]) != ("0", "10")


def _near_column(layout: Layout, word: str) -> str | None:
    """Return the column that a header was probably meant for and mistyped."""
    if not _SHORTEST_MISTYPED <= len(word) <= _LONGEST_MISTYPED:
        return None
    nearest = _nearest(word, _words_of_columns(layout))
    return layout.words()[nearest].name if nearest else None


def _likeliest_of(layout: Layout, word: str, sign: str) -> str:
    """Choose between the columns about one thing by their words."""
    if sign == "soreness":
        return _likeliest_soreness(word)
    columns = {w: c.name for w, c in all_words(layout).items() if c.name.startswith(sign)}
    likeliest = get_close_matches(word, columns, n=1, cutoff=_SIMILAR)
    return columns[likeliest[0]] if likeliest else next(iter(columns.values()))


def _likeliest_soreness(word: str) -> str:
    """Choose a part of the body by the words that speak of one; without any, all of it is meant."""
    sore = HeaderWords.bundled().never_unread["soreness"]
    rest = [part for part in word.split("_") if not _may_mean(part, sore)]
    known = SheetWords.bundled().groups_by_word
    near = get_close_matches("_".join(rest), known, n=1, cutoff=_SIMILAR) if rest else []
    return next(_of_region_word(near[0]), _ALL) if near else _ALL


def _may_mean(word: str, words: Sequence[str]) -> bool:
    parts = word.split("_")
    return (
        any(one in parts for one in words)
        or any(one in word for one in words if len(one) >= _SHORTEST_IN_A_WORD)
        or (len(word) <= _LONGEST_MISTYPED and any(_is_misspelled(part, words) for part in parts))
    )


def _is_misspelled(part: str, words: Sequence[str]) -> bool:
    return _nearest(part, tuple(words)) is not None


def _nearest(word: str, known: tuple[str, ...]) -> str | None:
    """Return the known word that another probably is with a slip, None where there is none. Words
    that are too long or too short for that are not compared, which takes long."""
    alike = [
        one
        for length, of_length in _by_length(known).items()
        if 2 * min(length, len(word)) / (length + len(word)) >= _MISSPELLED
        for one in of_length
    ]
    return next(iter(get_close_matches(word, alike, n=1, cutoff=_MISSPELLED)), None)


@cache
def _words_of_columns(layout: Layout) -> tuple[str, ...]:
    return tuple(layout.words())


@cache
def _by_length(words: tuple[str, ...]) -> Mapping[int, Sequence[str]]:
    """Group words by their length; those too short to be recognised with a slip are left out."""
    by_length: dict[int, list[str]] = {}
    for word in words:
        if len(word) >= _SHORTEST_MISTYPED:
            by_length.setdefault(len(word), []).append(word)
    return by_length


def _soreness_alone(layout: Layout, column: Column, cells: Sequence[Cell]) -> Column:
    """Tell what a column of soreness says in a sheet whose rows name no muscle group: a list, if
    its cells name the muscles; as a number alone it stands as it is, and its cells are told
    back."""
    lists = any(_LIST_OF_SORENESS.search(cell_text(cell)) for cell in cells)
    return _columns_in_words(layout)[_LIST] if lists else column


def _is_long(layout: Layout, name: str) -> bool:
    column = layout.column_named(name)
    return bool(column and column.name == MUSCLE_GROUP)


def _dates_its_rows(layout: Layout, names: Sequence[str], chosen: Mapping[str, str]) -> bool:
    """Tell whether a sheet of sessions has a column with the date alone."""
    if layout.is_of_mornings:
        return False
    columns = (column_by_words(layout, name) for name in names)
    return _DATE in chosen.values() or any(column and column.name == _DATE for column in columns)


def _cells_by_place(body: Sequence[Record], width: int) -> list[list[Cell]]:
    rows = [cells for _, cells in body[:_MOST_LOOKED_AT]]
    return [
        [row[place] for row in rows if place < len(row) and not is_blank(row[place])]
        for place in range(width)
    ]


def _trial(layout: Layout, word: str) -> Column | None:
    """Return the column of one of several trials, like jump_2."""
    found = _NUMBERED.fullmatch(word)
    if not found or not layout.is_of_mornings:
        return None
    if found["word"] not in SheetWords.bundled().ways["trial"]:
        return None
    return _columns_in_words(layout)[f"jump_trial_{found['number']}"]


@cache
def all_words(layout: Layout) -> Mapping[str, Column]:
    """Map every word for a column to it."""
    return {**_words_in_words(layout), **layout.words()}


@cache
def _words_in_words(layout: Layout) -> Mapping[str, Column]:
    """Map the words of ``rules/sheet_words.yaml`` to the columns that they stand for here."""
    return {plain_word(word): column for word, column in _pairs(layout)}


def _pairs(layout: Layout) -> Iterator[tuple[str, Column]]:
    words = SheetWords.bundled()
    of_layout = {True: "check_ins", False: "sessions"}[layout.is_of_mornings]
    for which in ("both", of_layout):
        for name, headers in words.columns[which].items():
            yield from ((header, layout.columns()[name]) for header in headers)
    own = _columns_in_words(layout)
    yield from ((word, own[COMMENT]) for word in words.ways[COMMENT])
    prefix = layout.blocks[0]
    yield from ((word, own[f"{prefix}_sets_x_reps"]) for word in words.ways["sets_x_reps"])
    if not layout.is_of_mornings:
        yield from ((word, own[_DATE]) for word in words.ways["started_on"])
        starts_at = layout.columns()[_STARTS_AT]
        yield from ((word, starts_at) for word in words.ways["started_at_time"])
        return
    for region in words.every_region.values():
        column = own[f"soreness_{plain_name(region.id)}"]
        yield from ((header, column) for header in words.soreness_headers(region.words))
    for group in HeaderWords.bundled().muscle_groups:
        column = layout.columns()[f"soreness_{plain_name(group)}"]
        names = [*HeaderWords.bundled().of_muscle_group(group)]
        yield from ((header, column) for header in words.soreness_headers(names))
    for sign, headers in words.sign_columns.items():
        yield from ((header, own[f"sign_{plain_name(sign)}"]) for header in headers)
    for illness, headers in words.illness_columns.items():
        yield from ((header, own[f"illness_{plain_name(illness)}"]) for header in headers)


@cache
def _columns_in_words(layout: Layout) -> Mapping[str, Column]:
    """Return the columns whose cells speak in a way of their own, by name."""
    return {column.name: column for column in _in_a_way_of_their_own(layout)}


def _in_a_way_of_their_own(layout: Layout) -> Iterator[Column]:
    prefix, block = layout.blocks[0], (layout.block_list, 0)
    if layout.is_of_mornings:
        yield from _of_the_morning()
    else:
        yield Column(_DATE, (_DATE,), "date")
    yield Column(f"{prefix}_sets_x_reps", block, "sets-by-reps", spreads=True)
    yield Column(COMMENT, (), "comment", spreads=True)


def _of_the_morning() -> Iterator[Column]:
    vocabulary, words = Vocabulary.bundled(), SheetWords.bundled()
    for region in words.every_region.values():
        name = f"soreness_{plain_name(region.id)}"
        groups = region.muscle_groups
        yield Column(name, ("soreness",), "region", "soreness", spreads=True, groups=groups)
    yield Column(_LIST, ("soreness",), "list-of-soreness", "soreness", spreads=True)
    for sign in vocabulary.warning_signs:
        name = f"sign_{plain_name(sign)}"
        yield Column(name, ("warning_signs",), "sign", spreads=True, about=sign)
    for illness in words.illness_columns:
        name = f"illness_{plain_name(illness)}"
        yield Column(name, ("illness",), "ill", spreads=True, about=illness)
    for place in vocabulary.pain_places:
        yield Column(f"pain_at_{place}", ("pain",), "pain-at", spreads=True, about=place)
    for number in range(1, _TEN):
        path = ("jump_trials", number)
        jump = "jump_height_cm"
        yield replace(_jump(), name=f"jump_trial_{number}", path=path, about=jump, kind="number")


def _jump() -> Column:
    from dawnrule.sheet.columns import CHECK_INS

    return CHECK_INS.columns()["jump_height_cm"]
