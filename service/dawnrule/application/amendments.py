"""What is told of a morning: a check-in as a whole, or what changes in one."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, TypeAlias

from dawnrule.application.check_ins import EVERYTHING, CheckIns, Submission, Submitted
from dawnrule.model import Vocabulary
from dawnrule.model.entities import CheckIn
from dawnrule.model.serialization import to_json
from dawnrule.schemas import load_check_in
from dawnrule.store import Transaction


@dataclass(frozen=True, slots=True)
class Amendment:
    """What changes in the check-in of an athlete and a date: ``changes`` is a JSON Merge Patch
    (RFC 7396); ``adds`` are dangers, which join those that were told before: ``pain`` and
    ``warning_signs`` are lists, ``illness`` counts where it is worse. ``alone`` is the check-in
    that it makes where nothing was told or planned before, if that is known."""

    athlete_id: str
    date: date
    changes: Mapping[str, Any]
    adds: Mapping[str, Any] = field(default_factory=dict)
    alone: CheckIn | None = None

    @property
    def said(self) -> frozenset[str]:
        """The names of what is said; all else of the check-in was said before."""
        return frozenset((*self.changes, *self.adds))

    @property
    def nothing_before(self) -> dict[str, Any]:
        """Return the JSON form of the day's check-in before anything is told or planned."""
        return {"athlete_id": self.athlete_id, "date": self.date.isoformat(), "plan": []}

    def applied_to(self, before: Mapping[str, Any]) -> dict[str, Any]:
        """Return the JSON form of a check-in with the changes made."""
        after: dict[str, Any] = merge_patch(before, self.changes)
        for name, danger in self.adds.items():
            after[name] = _JOINED[name](after.get(name), danger)
        return after


Told: TypeAlias = CheckIn | Amendment


def merge_patch(target: Any, patch: Any) -> Any:
    """Apply a JSON Merge Patch (RFC 7396, section 2) and return the result."""
    if not isinstance(patch, dict):
        return patch
    merged = dict(target) if isinstance(target, dict) else {}
    for name, value in patch.items():
        if value is None:
            merged.pop(name, None)
        else:
            merged[name] = merge_patch(merged.get(name), value)
    return merged


def submit_told(
    transaction: Transaction, check_ins: CheckIns, told: Told, submission: Submission
) -> Submitted:
    """Store what is told of a morning and return its advice. Where nobody has checked in yet, what
    changes is the check-in, with the coach's plan for the day. Raises as ``CheckIns.submit`` does,
    and ``InvalidInput`` for what does not go together."""
    check_in, said = _check_in(transaction, told)
    return check_ins.submit(transaction, check_in, submission, said)


def compose_told(
    transaction: Transaction, check_ins: CheckIns, told: Told, submission: Submission
) -> None:
    """Compose the advice on what is told, as ``CheckIns.compose`` does. Raises as
    ``submit_told``."""
    check_in, said = _check_in(transaction, told)
    check_ins.compose(transaction, check_in, submission, said)


def told_alone(told: Told) -> CheckIn:
    """Return the check-in that is told where nothing was told or planned before. Raises
    ``InvalidInput``."""
    if isinstance(told, CheckIn):
        return told
    return told.alone or load_check_in(told.applied_to(told.nothing_before))


def planned_parts(told: Told) -> int:
    """Count the parts of the plan that is told, which are advised on one by one; that of an
    amendment was not looked at yet, and may be anything."""
    if isinstance(told, CheckIn):
        return sum(max(1, len(block.muscle_groups)) for block in told.plan)
    plan = told.changes.get("plan")
    blocks = [one for one in plan if isinstance(one, Mapping)] if isinstance(plan, list) else []
    groups = [one.get("muscle_groups") for one in blocks]
    return sum(max(1, len(one)) if isinstance(one, list) else 1 for one in groups)


def _check_in(transaction: Transaction, told: Told) -> tuple[CheckIn, Collection[str]]:
    """Return the check-in with what is told, and the names of what is said now. Raises
    ``InvalidInput``."""
    if isinstance(told, CheckIn):
        return told, EVERYTHING
    stored = transaction.check_ins.latest(told.athlete_id, told.date)
    if stored is not None:
        return load_check_in(told.applied_to(stored.body)), told.said
    planned = transaction.plans.get(told.athlete_id, told.date)
    if planned is None:
        return told_alone(told), told.said
    before = {**told.nothing_before, "plan": [to_json(block) for block in planned.blocks]}
    return load_check_in(told.applied_to(before)), told.said


def _with_pains(
    before: Sequence[Mapping[str, Any]] | None, told: Iterable[Mapping[str, Any]]
) -> list[Mapping[str, Any]]:
    """Join pains; one at a place that was told before takes the place of that."""
    by_place = {str(pain["where"]).casefold(): pain for pain in (*(before or ()), *told)}
    return [*by_place.values()]


def _with_signs(before: Sequence[str] | None, told: Iterable[str]) -> list[str]:
    return [*dict.fromkeys((*(before or ()), *told))]


def _worse_illness(before: str | None, told: str) -> str:
    order = Vocabulary.bundled().illnesses
    return told if before is None else max(before, told, key=order.index)


_JOINED: Mapping[str, Any] = {
    "pain": _with_pains,
    "warning_signs": _with_signs,
    "illness": _worse_illness,
}
