"""Every field of a check-in is in all the places where people give it or look for it.

A new field of ``CheckIn`` fails here until it is in the schema, the sheet, the page of the athlete
and *Why*, or named below with the reason why not.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator, Mapping
from dataclasses import is_dataclass, replace
from typing import Any, get_args, get_type_hints

import pytest
from marshmallow import Schema, fields

from dawnrule.advice.composer import Composer
from dawnrule.i18n.catalog import languages
from dawnrule.model import Vocabulary
from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import from_json, to_json
from dawnrule.schemas.base import ByName, ListOf
from dawnrule.schemas.check_in import CHECK_IN
from dawnrule.sheet.columns import CHECK_INS
from dawnrule.web.coach.inputs import Inputs
from dawnrule.web.coach.why_view import prose_of
from tests.conftest import Client
from tests.factories import EFFORT_IN_FULL, NOW, PAIN_IN_FULL, baseline_advice, morning

ONLY_OF_SESSIONS = {
    f"plan/*/{name}" for name in ("load_kg", "output", "output_drop_percent", "longest_run_km")
}
"""Fields of a block that say how it went."""

NOT_IN_A_SHEET = {
    "rr_intervals_ms": "hundreds of numbers do not fit into a cell; rMSSD does",
    "bar_speed/*/muscle_groups": "a lift in a sheet is named by its pattern",
}

BY_THE_ADDRESS = "the private address and the clock say it"
BY_A_DEVICE = "a device or the coach measures it, and sends it"
BY_THE_COACH = "the coach plans it; a session of one's own is described in short"
NOT_ON_THE_PAGE = {
    **dict.fromkeys(("athlete_id", "reported_at"), BY_THE_ADDRESS),
    **dict.fromkeys(("resting_hr_bpm", "hrv_rmssd_ms", "rr_intervals_ms"), BY_A_DEVICE),
    **dict.fromkeys(
        (
            "bar_speed/*/load_kg",
            "bar_speed/*/metres_per_second",
            "bar_speed/*/pattern",
            "bar_speed/*/muscle_groups",
        ),
        BY_A_DEVICE,
    ),
    **dict.fromkeys(("last_trained/*/at", "last_trained/*/goal"), "the training log says it"),
    **dict.fromkeys(
        ("journey/time_zones_crossed", "journey/arrived_on"), "rare, and known to the coach"
    ),
    **dict.fromkeys(
        (
            *("plan/*/pattern", "plan/*/minutes", "plan/*/sets", "plan/*/reps"),
            *("plan/*/rest_seconds", "plan/*/reps_in_reserve", "plan/*/action"),
            *("plan/*/contacts", "plan/*/sprint_metres", "plan/*/kilometres"),
            *("plan/*/contact", "plan/*/indoors", "plan/*/competition"),
        ),
        BY_THE_COACH,
    ),
}

IN_THE_HEADING_OF_WHY = {"athlete_id", "date"}

FULL: dict[str, Any] = {
    "athlete_id": "a-01",
    "date": "2026-03-09",
    "reported_at": NOW.isoformat(),
    "sleep": {"hours": 6.5, "quality": 3, "naps_hours": 0.5},
    "soreness": {"quadriceps": 2.5},
    "last_trained": {"quadriceps": {"at": "2026-03-07T18:00:00+01:00", "goal": "hypertrophy"}},
    "fatigue": 4.5,
    "stress": 2,
    "resting_hr_bpm": 52,
    "hrv_rmssd_ms": 71.0,
    "rr_intervals_ms": [801.0, 815.0, 808.0],
    "pain": [PAIN_IN_FULL | {"muscle_groups": ["calves"]}],
    "illness": "above-neck",
    "warning_signs": ["chest-pain"],
    "temperature_c": 37.4,
    "fever_medicine": False,
    "jump_height_cm": [38.5, 39.5],
    "grip_kg": 52.5,
    "bar_speed": [
        {"pattern": "squat", "load_kg": 100.0, "metres_per_second": 0.62},
        {"muscle_groups": ["chest"], "load_kg": 60.0, "metres_per_second": 0.5},
    ],
    "journey": {"time_zones_crossed": 6, "arrived_on": "2026-03-07"},
    "heat": {
        "wbgt_c": 28.0,
        "temperature_c": 31.0,
        "humidity_percent": 70.0,
        "acclimatised": False,
    },
    "takes": {"caffeine_mg": 200.0, "bicarbonate_g": 15.0, "creatine_g": 5.0, "other": "juice"},
    "plan": [
        {
            "goal": "strength",
            "muscle_groups": ["quadriceps"],
            "modality": "free-weights",
            "starts_at": "2026-03-09T18:00:00+01:00",
            "minutes": 45.0,
            "sets": 4,
            "reps": 6,
            "rest_seconds": 90.0,
            **EFFORT_IN_FULL,
        },
        {"goal": "power", "pattern": "hinge"},
    ],
}
"""A check-in that says everything, more than one would be let say at once."""

OTHERWISE: dict[str, Any] = {
    "where": "right shin",
    "kind": "sharp",
    "goal": "speed",
    "at": "2026-03-06T18:00:00+01:00",
    "load_kg": 90.0,
    "metres_per_second": 0.7,
    "time_zones_crossed": 3,
    "arrived_on": "2026-03-06",
}
"""Another value of each field that cannot be left out of its object."""


def paths_of(kind: type, before: str = "") -> Iterator[str]:
    """The paths of all values in an entity; ``*`` is a number or a muscle group."""
    for name, hint in get_type_hints(kind).items():
        yield from _paths(hint, f"{before}{name}")


def _paths(hint: Any, path: str) -> Iterator[str]:
    if is_dataclass(hint) and isinstance(hint, type):
        yield from paths_of(hint, f"{path}/")
        return
    inside = [one for one in get_args(hint) if one not in (type(None), ...)]
    if _is_mapping(hint):
        yield from _paths(inside[-1], f"{path}/*")
    elif any(map(_holds_an_object, inside)):
        [one] = filter(_holds_an_object, inside)
        is_list = getattr(hint, "__origin__", None) is tuple
        yield from _paths(one, f"{path}/*" if is_list else path)
    elif any(map(_is_mapping, inside)):
        [one] = filter(_is_mapping, inside)
        yield from _paths(one, path)
    else:
        yield path


def _is_mapping(hint: Any) -> bool:
    return getattr(hint, "__origin__", None) is Mapping


def _holds_an_object(hint: Any) -> bool:
    return is_dataclass(hint) or any(map(is_dataclass, get_args(hint)))


PATHS = sorted(set(paths_of(CheckIn)) - ONLY_OF_SESSIONS)


def paths_of_schema(schema: Schema, before: str = "") -> Iterator[str]:
    for name, field in schema.fields.items():
        yield from _paths_of_field(field, f"{before}{name}")


def _paths_of_field(field: Any, path: str) -> Iterator[str]:
    if isinstance(field, fields.Nested):
        yield from paths_of_schema(field.schema, f"{path}/")
    elif isinstance(field, ByName) or (
        isinstance(field, ListOf) and isinstance(field.item, fields.Nested)
    ):
        yield from _paths_of_field(field.item, f"{path}/*")
    else:
        yield path


def test_the_paths_are_those_of_the_entity() -> None:
    assert {"athlete_id", "sleep/naps_hours", "pain/*/where", "soreness/*"} <= set(PATHS)
    assert {"last_trained/*/goal", "heat/wbgt_c", "plan/*/goal", "jump_height_cm"} <= set(PATHS)


def test_the_schema_accepts_every_field_and_no_other() -> None:
    assert sorted(paths_of_schema(CHECK_IN)) == PATHS


def test_a_sheet_has_a_column_for_every_field() -> None:
    groups = Vocabulary.bundled().muscle_groups
    columns = {
        "/".join("*" if isinstance(s, int) or s in groups else s for s in column.path)
        for column in CHECK_INS.columns().values()
    }
    assert [path for path in PATHS if path not in columns] == sorted(NOT_IN_A_SHEET)


def test_the_page_of_the_athlete_asks_for_every_field(client: Client, path: str) -> None:
    controls = re.findall(r'\bname="([^"]+)"', client.get(path).text)
    asked = {
        re.sub(r"^soreness/.*", "soreness/*", re.sub(r"^pain/[0-9]+/", "pain/*/", name))
        for name in controls
    }
    asked |= {name.replace("own/", "plan/*/") for name in controls if name.startswith("own/")}
    assert [one for one in PATHS if one not in asked] == sorted(NOT_ON_THE_PAGE)


def rows_of(plain: dict[str, Any], language: str) -> list[tuple[str, str | None, str]]:
    composer = Composer.bundled(language)
    record = baseline_advice(morning(0)).record(decided_at=NOW, posted_by=None, supersedes=None)
    record = replace(record, check_in=from_json(CheckIn, plain))
    rows = Inputs(record, composer, prose_of(composer)).rows()
    return [(row.label, row.value, row.unit) for row in rows]


def changed_at(path: str) -> dict[str, Any]:
    """The full check-in without one value, or with another one where there has to be one."""
    plain = copy.deepcopy(FULL)
    *around, last = path.split("/")
    inner: Any = plain
    for step in around:
        inner = _first_with(inner, last) if step == "*" else inner[step]
    name = next(iter(inner)) if last == "*" else last
    if name in OTHERWISE:
        inner[name] = OTHERWISE[name]
    else:
        del inner[name]
    return plain


def _first_with(several: Any, name: str) -> Any:
    if isinstance(several, dict):
        return next(iter(several.values()))
    return next(one for one in several if name in one)


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("path", [path for path in PATHS if path not in IN_THE_HEADING_OF_WHY])
def test_why_shows_every_field(path: str, language: str) -> None:
    assert rows_of(changed_at(path), language) != rows_of(FULL, language)


def test_the_full_check_in_loses_nothing_on_its_way() -> None:
    assert to_json(from_json(CheckIn, FULL)) == FULL


def test_a_pain_is_shown_with_all_that_was_said_of_it() -> None:
    english = {label: value for label, value, _ in rows_of(FULL, "en")}
    assert english["pain"] == (
        "left shin, on one side only, calves, place: shin, side: left, severity 3.5 of 10, "
        "onset: gradual, after a long journey, warm, not swollen, not numb"
    )
    german = {label: value for label, value, _ in rows_of(FULL, "de")}
    assert "Stärke 3,5 von 10" in str(german["Schmerz"])


def test_what_was_not_sent_beyond_the_usual_questions_has_no_row() -> None:
    plain = {"athlete_id": "a-01", "date": "2026-03-09", "plan": []}
    labels = [label for label, _, _ in rows_of(plain, "en")]
    assert "sleep" in labels
    assert "grip strength" not in labels
