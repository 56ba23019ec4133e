"""The digest of a row, which ledgers of before hold, stays that of its JSON text."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as some

from dawnrule.store.tables.ledger import record_digest
from dawnrule.store.tables.vouched_rows import row_digest
from dawnrule.store.values import json_text
from tests.effort import tries

TEXTS = some.text(some.characters(exclude_categories=["Cs"]))
VALUES = some.none() | TEXTS | some.integers(-(2**63), 2**63 - 1)


@settings(max_examples=tries(50, 2_000))
@given(body=VALUES, posted_by=VALUES, revision=VALUES, salt=TEXTS)
def test_the_digest_of_a_row_is_that_of_its_json_text_whatever_it_holds(
    body: str | int | None, posted_by: str | int | None, revision: str | int | None, salt: str
) -> None:
    row = {"body": body, "posted_by": posted_by, "revision": revision}
    text = json_text(
        ["sessions", {name: value for name, value in row.items() if value is not None}]
    )
    assert row_digest(salt, "sessions", list(row), list(row.values())) == record_digest(text, salt)
