"""A check-in of any content that is written to a sheet is the same when it is read again."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from datetime import date, datetime, timedelta, timezone
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from dawnrule.model import Vocabulary, is_number
from dawnrule.schemas.check_in import load_check_in
from dawnrule.sheet import CHECK_INS, read_sheet
from dawnrule.sheet.columns import Column
from tests.effort import tries

WORDS = Vocabulary.bundled()
TODAY = date(2026, 3, 9)
BERLIN = timezone(timedelta(hours=1))
NOTHING = "none"
OF_A_LONG_SHEET = {"muscle_group", "soreness", "last_trained_at", "last_trained_goal"}
COLUMNS = [c for c in CHECK_INS.columns().values() if c.name not in OF_A_LONG_SHEET]

Strategy = st.SearchStrategy[Any]


def numbers(least: float, greatest: float) -> Strategy:
    """Numbers of two decimals, as people write them."""
    hundredths = st.integers(round(least * 100), round(greatest * 100))
    return hundredths.map(lambda number: number / 100)


def one_of(list_name: str) -> Strategy:
    return st.sampled_from(WORDS.values_of(list_name))


def some_of(list_name: str) -> Strategy:
    return st.lists(one_of(list_name), min_size=1, max_size=4, unique=True)


def some(required: Mapping[str, Strategy], **optional: Strategy) -> Strategy:
    """Objects with all that is required and any of what is optional, but not without anything."""
    return st.fixed_dictionaries(dict(required), optional=optional).filter(bool)


text = st.text(st.sampled_from("abcdeßäéABC xyz,;'"), max_size=20).map("knee {}".format)
yes_or_no = st.booleans()
moments = st.integers(6 * 60, 20 * 60).map(
    lambda minute: (datetime(2026, 3, 9, minute // 60, minute % 60, tzinfo=BERLIN)).isoformat()
)
pains = some(
    {"where": text.map(str.strip), "kind": one_of("pain_kinds")},
    muscle_groups=some_of("muscle_groups"),
    place=one_of("pain_places"),
    side=one_of("sides"),
    onset=one_of("onsets"),
    severity=numbers(0, 10),
    after=one_of("pain_after"),
    warm=yes_or_no,
    swollen=yes_or_no,
    numbness=yes_or_no,
)


def blocks_of(**trained: Strategy) -> Strategy:
    """Blocks that name what they train, or nothing."""
    return some(
        {"goal": one_of("goals")} | trained,
        modality=one_of("modalities"),
        starts_at=moments,
        minutes=numbers(1, 300),
        sets=st.integers(1, 20),
        reps=st.integers(1, 20),
        rest_seconds=numbers(1, 600),
        effort=numbers(0, 10),
        reps_in_reserve=st.integers(0, 10),
        to_failure=yes_or_no,
        new_exercise=yes_or_no,
        action=one_of("actions"),
        contacts=st.integers(0, 400),
        sprint_metres=numbers(0, 5000),
        kilometres=numbers(0, 100),
        contact=yes_or_no,
        indoors=yes_or_no,
        competition=yes_or_no,
    )


blocks = st.one_of(
    blocks_of(),
    blocks_of(muscle_groups=some_of("muscle_groups")),
    blocks_of(pattern=one_of("patterns")),
)
heats = st.one_of(
    some({}, wbgt_c=numbers(-30, 60), acclimatised=yes_or_no),
    some(
        {"temperature_c": numbers(-50, 60), "humidity_percent": numbers(2, 100)},
        acclimatised=yes_or_no,
    ),
)
check_ins = some(
    {
        "athlete_id": st.just("a-03"),
        "date": st.just(TODAY.isoformat()),
        "plan": st.lists(blocks, min_size=1, max_size=len(CHECK_INS.blocks)),
    },
    sleep=some({}, hours=numbers(0, 24), quality=st.integers(1, 5), naps_hours=numbers(0, 16)),
    soreness=st.dictionaries(one_of("muscle_groups"), numbers(0, 10), min_size=1, max_size=5),
    reported_at=moments,
    last_trained=st.dictionaries(
        one_of("muscle_groups"), some({"at": moments, "goal": one_of("goals")}), min_size=1
    ),
    resting_hr_bpm=st.integers(40, 120),
    hrv_rmssd_ms=numbers(5, 200),
    fatigue=numbers(0, 10),
    stress=numbers(0, 10),
    pain=st.lists(pains, max_size=1),
    illness=one_of("illnesses"),
    warning_signs=st.lists(one_of("warning_signs"), max_size=3, unique=True),
    temperature_c=numbers(30, 45),
    fever_medicine=yes_or_no,
    jump_height_cm=st.lists(numbers(1, 150), min_size=1, max_size=10),
    grip_kg=numbers(1, 150),
    bar_speed=st.lists(
        some(
            {
                "pattern": one_of("patterns"),
                "load_kg": numbers(0, 1000),
                "metres_per_second": numbers(0.05, 5),
            }
        ),
        min_size=1,
        max_size=1,
    ),
    journey=some(
        {
            "time_zones_crossed": st.integers(0, 12),
            "arrived_on": st.sampled_from(["2026-03-01", "2026-03-09"]),
        }
    ),
    heat=heats,
    takes=some(
        {},
        caffeine_mg=numbers(0, 2000),
        bicarbonate_g=numbers(0, 100),
        creatine_g=numbers(0, 50),
        other=text.map(str.strip),
    ),
)


def found(plain: Any, column: Column) -> Any:
    """Return what a check-in holds where a column has its value, None where it says nothing; the
    word for nothing stands in the first column of an empty list."""
    for step in column.path:
        if plain == [] and column.path[0] == "pain":
            return NOTHING if column.name == "pain_where" else None
        try:
            plain = plain[step]
        except (KeyError, IndexError):
            return None
    return plain


def written(value: Any, decimal: str, yes: str, no: str) -> str:
    match value:
        case None:
            return ""
        case bool():
            return yes if value else no
        case []:
            return NOTHING
        case [first, *_] if is_number(first):
            return "; ".join(written(one, decimal, yes, no) for one in value)
        case list():
            return ", ".join(value)
        case _ if is_number(value):
            return str(value).replace(".", decimal)
        case _:
            return str(value)


@st.composite
def sheets(draw: st.DrawFn) -> tuple[list[Any], bytes]:
    """Draw check-ins and the sheet that a program writes of them."""
    delimiter, decimal = draw(st.sampled_from([(",", "."), (";", ","), ("\t", ",")]))
    yes, no = draw(st.sampled_from([("yes", "no"), ("ja", "nein"), ("TRUE", "FALSE"), ("x", "0")]))
    drawn = draw(st.lists(check_ins, min_size=1, max_size=3))
    mornings = [one | {"athlete_id": f"a-{number:02}"} for number, one in enumerate(drawn)]
    columns = draw(st.permutations(COLUMNS))
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=delimiter)
    writer.writerow(column.name for column in columns)
    for morning in mornings:
        values = (found(morning, column) for column in columns)
        writer.writerow(written(value, decimal, yes, no) for value in values)
    return mornings, text.getvalue().encode()


@settings(deadline=None, max_examples=tries(30, 150))
@given(sheets())
def test_a_check_in_that_is_written_to_a_sheet_is_read_as_itself(
    drawn: tuple[list[Any], bytes],
) -> None:
    mornings, data = drawn
    sheet = read_sheet(data, CHECK_INS)
    assert sheet.unknown_headers == ()
    assert [row.errors for row in sheet.rows] == [()] * len(mornings)
    again = [load_check_in(row.to_json()) for row in sheet.rows]
    assert again == [load_check_in(morning) for morning in mornings]
