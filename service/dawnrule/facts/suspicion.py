"""Warning signs that pain may be, by how it is told (pure)."""

from __future__ import annotations

from dawnrule.model import Vocabulary
from dawnrule.model.entities import CheckIn, Pain
from dawnrule.model.vocabulary import holds_any, without_word

CHEST_PAIN, LEG_CLOT, NUMBNESS = "chest-pain", "leg-clot", "numbness-or-weakness"
_CHEST, _CALF, _CALVES = "chest", "calf", "calves"
_ONE_SIDED = "one-sided"
_AFTER_LYING = frozenset({"long-journey", "bed"})
_MAY_BE_CHEST_PAIN = frozenset({"sharp", "other"})


def suspected_signs(check_in: CheckIn, words: Vocabulary) -> tuple[tuple[str, Pain], ...]:
    """Return the warning signs that reported pain may be, the most urgent first, with the pain.

    Pain at the chest that is sharp, of another kind, or told in words such as tight; a calf that is
    warm or swollen, or came after a long journey or in bed, unless both are told; any pain with
    numbness.
    """
    found = [(sign, pain) for pain in check_in.pain or () for sign in _signs_of(pain, words)]
    return tuple(sorted(found, key=lambda one: words.concern_signs.index(one[0])))


def _signs_of(pain: Pain, words: Vocabulary) -> list[str]:
    place = words.pain_place(pain.place, pain.where)
    at = place.id if place else None
    signs = []
    at_chest = at == _CHEST or (at is None and _CHEST in pain.muscle_groups)
    if at_chest and (pain.kind in _MAY_BE_CHEST_PAIN or _tells(pain, "chest", words)):
        signs.append(CHEST_PAIN)
    at_calf = at == _CALF or (at is None and pain.muscle_groups == (_CALVES,))
    if at_calf and _may_be_clot(pain, words):
        signs.append(LEG_CLOT)
    if pain.numbness or _tells(pain, "numbness", words):
        signs.append(NUMBNESS)
    return signs


def _may_be_clot(pain: Pain, words: Vocabulary) -> bool:
    is_one_sided = pain.kind == _ONE_SIDED or pain.side in ("left", "right")
    if pain.side is None and not _tells(pain, "both", words):
        is_one_sided = True
    comes_with = pain.warm or pain.swollen or _tells(pain, "clot", words)
    return is_one_sided and (comes_with or pain.after in _AFTER_LYING)


def _tells(pain: Pain, of: str, words: Vocabulary) -> bool:
    """Return whether the athlete's own words hold one that is suspicious; whole words count."""
    text = pain.where.casefold()
    for word in words.suspicious_words["harmless"]:
        text = without_word(text, word)
    return holds_any(text, words.suspicious_words[of])
