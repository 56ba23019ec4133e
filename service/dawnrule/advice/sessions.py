"""Sessions in place of a block: less of the same, and what else the same rules allow (pure)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from math import ceil

from dawnrule.advice.blocks import BlockDecision, limits_on
from dawnrule.advice.options import EACH_AT_MOST, LOW, hours_since_trained
from dawnrule.facts.derive import BlockSource, FactSource
from dawnrule.i18n.catalog import Texts
from dawnrule.model import Facts, Modality, Verdict, Vocabulary
from dawnrule.model.advice import Alternative
from dawnrule.model.entities import Block
from dawnrule.model.training import groups_of
from dawnrule.rules.advice_policy import AdvicePolicy, EasySession
from dawnrule.rules.counterfactuals import WhatIf
from dawnrule.rules.limits import Limits, Planned, allowed, merged


def why_allowed(
    alternative: Alternative, loaded: Iterable[str], vocabulary: Vocabulary, texts: Texts
) -> str:
    """Say why an alternative to a block is allowed; ``loaded`` are the block's muscle groups."""
    if alternative.within_limits:
        return texts.say("alternative.within_limits")
    if alternative.modality is not None:
        loads = vocabulary.modalities[alternative.modality].loads
        spared = [vocabulary.label(group) for group in loaded if group not in loads]
        if not spared:
            return texts.say("alternative.easy")
        return texts.say("alternative.spares", muscle_groups=texts.listing(spared))
    if alternative.pattern or alternative.muscle_group:
        what = vocabulary.label(alternative.pattern or alternative.muscle_group or "")
        return texts.say("alternative.elsewhere", what=what)
    return texts.say("alternative.unloaded")


@dataclass(frozen=True, slots=True)
class Sessions:
    """Finds sessions in place of the blocks of a morning; ``at_rest`` are the muscle groups that
    rest in any part. Each session is decided by the rules before it is offered."""

    source: FactSource
    what_if: WhatIf
    today: WhatIf
    """The same, narrowed to the parts of this morning: for sessions beside the plan as it is."""
    at_rest: frozenset[str]
    policy: AdvicePolicy
    vocabulary: Vocabulary
    texts: Texts

    def instead_of(self, decided: BlockDecision) -> tuple[Alternative, ...]:
        """List the sessions in place of a block, the planned one within its limits first; none for
        a block that is trained as planned."""
        if decided.verdict is Verdict.TRAIN:
            return ()
        found = (
            *self._less_of_the_same(decided),
            *islice(self._easy_ways(decided), EACH_AT_MOST),
            *islice(self._elsewhere(decided), EACH_AT_MOST),
            *self._mobility(decided),
        )
        loaded = decided.muscle_groups
        return tuple(
            replace(one, because=why_allowed(one, loaded, self.vocabulary, self.texts))
            for one in found
        )

    # ---- less of the same

    def _less_of_the_same(self, decided: BlockDecision) -> Iterator[Alternative]:
        limits, block = decided.limits, self._block(decided)
        if decided.verdict is Verdict.REST or not limits or self._lands_in_vain(decided):
            return
        reduced = _reduced(block, limits, decided)
        plan = self.source.check_in.plan
        source = self.source.with_plan(
            (*plan[: decided.block], reduced, *plan[decided.block + 1 :])
        )
        parts = (
            source.part(decided.block, part.muscle_group, part.starts_at) for part in decided.parts
        )
        if all(self.what_if.is_open(_within(limits, p.facts)) for p in parts):
            yield Alternative(
                goal=block.goal,
                pattern=block.pattern,
                modality=block.modality,
                within_limits=True,
                sets=reduced.sets,
                reps=reduced.reps,
                minutes=None if reduced.minutes is None else int(reduced.minutes),
                effort=limits.effort_at_most,
                reps_in_reserve=limits.reps_in_reserve_at_least,
            )

    def _lands_in_vain(self, decided: BlockDecision) -> bool:
        """Tell whether the block is landing work that must not be done: nothing is left of it."""
        lands = any(part.facts.get("lands_hard") is True for part in decided.parts)
        return decided.limits.no_landing and lands

    # ---- something else

    def _easy_ways(self, decided: BlockDecision) -> Iterator[Alternative]:
        """Ways of low eccentric load, those first that spare the muscles of the block."""
        low = [m for m in self.vocabulary.modalities.values() if m.eccentric_load == LOW]
        loaded = set(decided.muscle_groups)
        low.sort(key=lambda modality: len(loaded.intersection(modality.loads)))
        for modality in low:
            if self.at_rest.isdisjoint(modality.loads):
                yield from self._easy(decided, self.policy.easy, modality)

    def _mobility(self, decided: BlockDecision) -> Iterator[Alternative]:
        yield from self._easy(decided, self.policy.mobility, None)

    def _easy(
        self, decided: BlockDecision, amount: EasySession, modality: Modality | None
    ) -> Iterator[Alternative]:
        planned = self._block(decided).minutes
        minutes = amount.minutes if planned is None else min(amount.minutes, int(planned))
        name = modality.id if modality else None
        block = Block(goal=amount.goal, modality=name, minutes=minutes, effort=amount.effort)
        if self.today.is_shut or not minutes:
            return
        easy = BlockSource.of(self.source, block, self.source.other_blocks(decided.block))
        facts = self._facts_if_allowed(easy, self._sorest_first(modality), decided, name)
        if facts is None:
            return
        limits = merged(map(self._limits, facts))
        left = allowed(limits, Planned(minutes=minutes)).minutes
        yield Alternative(
            goal=amount.goal,
            modality=name,
            minutes=minutes if left is None else min(left, minutes),
            effort=min(amount.effort, limits.effort_at_most or amount.effort),
        )

    def _sorest_first(self, modality: Modality | None) -> Sequence[str | None]:
        """The muscle groups that a way loads: whether it is left out shows soonest for the
        sorest."""
        if modality is None or not modality.loads:
            return (None,)
        soreness = self.source.check_in.soreness
        return sorted(modality.loads, key=lambda group: -soreness.get(group, 0))

    def _elsewhere(self, decided: BlockDecision) -> Iterator[Alternative]:
        """For work against a load or for skill: the same goal by another pattern or for another
        muscle group, that trained longest ago first. None for jumps, sprints and the like, which
        are not done with other muscles."""
        block = self._block(decided)
        if self.today.is_shut or not self._is_for_any_muscle(block):
            return
        planned = self.source.planned_block(decided.block)
        if self._is_shut_everywhere(planned, decided):
            return
        found = list(self._patterns() if block.pattern else self._groups())
        found.sort(key=lambda one: -self._hours_since_trained(one[1], decided))
        for pattern, groups in found:
            other = planned.elsewhere(pattern, () if pattern else groups)
            facts = self._facts_if_allowed(other, groups, decided)
            if facts is not None:
                yield self._as_alternative(other.block, facts)

    def _is_shut_everywhere(self, planned: BlockSource, decided: BlockDecision) -> bool:
        """Tell whether a rule holds the work back by nothing that other muscles would change."""
        fired = (rule for decision in decided.decisions for rule in decision.fired)
        return any(rule.is_protective and all(map(planned.fixes, rule.reads)) for rule in fired)

    def _is_for_any_muscle(self, block: Block) -> bool:
        words = self.vocabulary
        if block.modality and words.modalities[block.modality].loads:
            return False
        of_kind = block.goal in words.goals_of_kind("growth", "force")
        return of_kind and set(words.muscle_groups) == set(words.could_load[block.goal])

    def _groups(self) -> Iterator[tuple[None, tuple[str]]]:
        taken = self._planned | self.at_rest
        for group in self.vocabulary.muscle_groups:
            if group not in taken:
                yield None, (group,)

    def _patterns(self) -> Iterator[tuple[str, tuple[str, ...]]]:
        taken = self._planned | self.at_rest
        for pattern in self.vocabulary.patterns.values():
            if taken.isdisjoint(pattern.muscle_groups):
                yield pattern.id, pattern.muscle_groups

    @property
    def _planned(self) -> frozenset[str]:
        """The muscle groups that the day's plan trains."""
        plan = self.source.check_in.plan
        return frozenset(group for b in plan for group in groups_of(b, self.vocabulary))

    def _as_alternative(self, block: Block, facts: list[Facts]) -> Alternative:
        limits = merged(map(self._limits, facts))
        left = allowed(limits, Planned(sets=block.sets, minutes=block.minutes))
        minutes = left.minutes if left.minutes is not None else block.minutes
        return Alternative(
            goal=block.goal,
            muscle_group=block.muscle_groups[0] if block.muscle_groups else None,
            pattern=block.pattern,
            sets=left.sets or block.sets,
            reps=block.reps,
            minutes=None if minutes is None else int(minutes),
            effort=limits.effort_at_most,
            reps_in_reserve=limits.reps_in_reserve_at_least,
        )

    def _facts_if_allowed(
        self,
        block: BlockSource,
        groups: Iterable[str | None],
        decided: BlockDecision,
        way: str | None = None,
    ) -> list[Facts] | None:
        """The facts of each muscle group of a block in the place of the planned one; None as soon
        as a rule speaks against one, or the ``way`` of training is left out for it."""
        found: list[Facts] = []
        for group in groups:
            facts = block.part(group).at(decided.explained_by.starts_at).facts
            if way is not None and self.policy.leaves_out(way, facts):
                return None
            if not self.today.is_open(facts):
                return None
            found.append(facts)
        return found

    def _limits(self, facts: Facts) -> Limits:
        return limits_on(facts, self.today.limiting(facts))

    def _block(self, decided: BlockDecision) -> Block:
        return self.source.check_in.plan[decided.block]

    def _hours_since_trained(self, groups: Iterable[str], decided: BlockDecision) -> float:
        return hours_since_trained(self.source, groups, decided.explained_by.starts_at)


def _is_maximal(decided: BlockDecision) -> bool:
    return any(part.facts.get("planned_maximal") is True for part in decided.parts)


def _reduced(block: Block, limits: Limits, decided: BlockDecision) -> Block:
    """Reduce a planned block to its limits. The repetitions of a maximal lift are left open where
    nothing maximal may be done."""
    left = allowed(limits, decided.planned)
    minutes = block.minutes if left.minutes is None else left.minutes
    kilometres = block.kilometres
    if kilometres is not None and block.minutes and minutes is not None:
        kilometres *= minutes / block.minutes
    elif kilometres is not None and limits.share_of_minutes is not None:
        kilometres *= limits.share_of_minutes
    in_reserve = limits.reps_in_reserve_at_least
    return replace(
        block,
        sets=block.sets if left.sets is None else left.sets,
        reps=None if limits.no_maximal and _is_maximal(decided) else block.reps,
        minutes=minutes,
        kilometres=kilometres,
        contacts=block.contacts if left.contacts is None else left.contacts,
        effort=block.effort if limits.effort_at_most is None else limits.effort_at_most,
        reps_in_reserve=block.reps_in_reserve if in_reserve is None else ceil(in_reserve),
        to_failure=False if limits.no_failure or in_reserve else block.to_failure,
        contact=False if limits.no_contact else block.contact,
    )


def _within(limits: Limits, facts: Facts) -> Facts:
    """Take the plan for the usual amount where that is not known, as limits do."""
    shares = [s for s in (limits.share_of_sets, limits.share_of_minutes) if s is not None]
    if not shares or "planned_share_percent" in facts:
        return facts
    return {**facts, "planned_share_percent": 100 * max(shares)}
