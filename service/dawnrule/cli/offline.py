"""What is the advice on the check-ins of a file, with no server?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from dawnrule.advice.advisor import Advisor
from dawnrule.advice.batch import Entry, Outcome, answer_each, without_contradictions
from dawnrule.advice.morning import Answer, Posting, answer_check_in
from dawnrule.cli.check_in_file import CheckInFile
from dawnrule.errors import DawnruleError
from dawnrule.facts.check_in import Athlete, CheckIn
from dawnrule.rules.rule_set import RuleSet
from dawnrule.store import Books, Store


def advise_file(
    file: CheckInFile,
    advisor: Advisor,
    rule_set: RuleSet,
    time_zone: str,
    now: datetime,
    new_id: Callable[[], str],
) -> list[Outcome]:
    """An outcome for each entry, in the file's order, over a database that is then thrown away.

    It is the straight line of the service: the file's check-ins of earlier dates are the history
    of the later ones. Athletes whom the file does not describe live in ``time_zone``.
    """

    def answer(books: Books, check_in: CheckIn) -> Answer:
        posting = Posting(now, None, check_in_id=new_id(), advice_id=new_id())
        return answer_check_in(books, advisor, rule_set, check_in, posting)

    entries = without_contradictions(file.entries)
    by_date = sorted(range(len(entries)), key=lambda place: _date(entries[place]))
    with _store_of(_athletes(file, time_zone)) as store:
        outcomes = answer_each(store, [entries[place] for place in by_date], answer)
    found = dict(zip(by_date, outcomes, strict=True))
    return [_located(file, place, found[place]) for place in range(len(entries))]


@contextmanager
def _store_of(athletes: list[Athlete]) -> Iterator[Store]:
    with (
        TemporaryDirectory(prefix="dawnrule-") as folder,
        Store.open(Path(folder) / "dawnrule.db") as store,
    ):
        store.write(lambda books: [books.athletes.put(athlete) for athlete in athletes])
        yield store


def _athletes(file: CheckInFile, time_zone: str) -> list[Athlete]:
    """Everybody whom the file describes or has a check-in of."""
    met = [entry.athlete_id for entry in file.entries if isinstance(entry, CheckIn)]
    assumed = {athlete_id: Athlete(athlete_id, athlete_id, time_zone) for athlete_id in met}
    return [*(assumed | {athlete.id: athlete for athlete in file.athletes}).values()]


def _date(entry: Entry) -> date:
    return entry.date if isinstance(entry, CheckIn) else date.min


def _located(file: CheckInFile, place: int, outcome: Outcome) -> Outcome:
    return file.located(place, outcome) if isinstance(outcome, DawnruleError) else outcome
