"""Digests of the season's mornings: records and acts in the ledger, and the German of each advice.

``python -m tests.golden.season_bytes`` writes them anew to tests/golden/golden_bytes.json. Do so
where a record is meant to change, and say why in the same commit.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime
from hashlib import sha256
from itertools import count
from operator import itemgetter
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

from dawnrule.advice.composer import Composer
from dawnrule.advice.summary import spoken_summary
from dawnrule.advice.translation import translate
from dawnrule.model.record import Record
from dawnrule.model.serialization import to_json
from dawnrule.store import Store
from dawnrule.store.tables import concerns, ledger, vouched_rows
from tests.golden.test_season import CASES, Case, at_time, check_in_of, steps_of
from tests.season.diary import Diary, advisor

FILE = Path(__file__).with_name("golden_bytes.json")
VERSION = "2.0.0"
ONE_OF = 5
ENTERED_AT = datetime(2026, 3, 9, 8, tzinfo=UTC)
"""When rows are entered, by a clock that stands."""


def is_chosen(case: Case) -> bool:
    """Whether a case is one of the few that are digested, whatever stands beside it in its file."""
    chosen_by = int(sha256(case.id.encode()).hexdigest(), 16)
    return case.version == VERSION and chosen_by % ONE_OF == 0


def digest(texts: Iterable[str]) -> str:
    """The digest of several texts, one after the other."""
    whole = sha256()
    for text in texts:
        whole.update(text.encode())
    return whole.hexdigest()


def season_digests(folder: Path) -> Mapping[str, str]:
    """Live the chosen cases in a database of their own; ``service_version`` aside, which a release
    changes, and with salts that are always the same."""
    salts = count()

    def salt(size: int) -> str:
        return f"{next(salts):0{2 * size}x}"

    with (
        patch.object(ledger, "token_hex", salt),
        patch.object(concerns, "token_hex", salt),
        patch.object(vouched_rows, "token_hex", salt),
        patch.object(vouched_rows, "_now", lambda: ENTERED_AT),
        patch("dawnrule.__version__", "0.1.0"),
        Store.open(folder / "season.db") as store,
    ):
        for case in filter(is_chosen, CASES):
            _live(store, case)
        walked = store.read(lambda reading: list(reading.ledger.walk(0, 100_000)))
    records = [one.advice.record for one in walked if one.advice]
    entries = (
        text
        for one in walked
        for text in (one.entry.digest, one.advice.record if one.advice else one.body or "")
    )
    return {"ledger": digest(entries), "german": digest(_german(records))}


def _live(store: Store, case: Case) -> None:
    diary = Diary(store, case.athlete(), case.version)
    for _, step in sorted(steps_of(case), key=itemgetter(0)):
        step(diary)
    at = at_time(case.told.get("reported_at", "07:00"), case.day)
    diary.post(check_in_of(case, case.told["check_in"], at), at)


def _german(records: Iterable[str]) -> Iterator[str]:
    composer, rule_set = Composer.bundled("de"), advisor().library.get("baseline", VERSION)
    for text in records:
        advice = translate(Record.from_text(text), rule_set, composer)
        values = to_json(advice)
        values["rule_set"] = dict(sorted(values["rule_set"].items()))  # as in the record
        yield json.dumps(values, ensure_ascii=False)
        yield spoken_summary(advice, composer)


def main() -> None:
    digests = json.loads(FILE.read_text(encoding="utf-8"))
    with TemporaryDirectory() as folder:
        digests["season"] = season_digests(Path(folder))
    FILE.write_text(json.dumps(digests, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
