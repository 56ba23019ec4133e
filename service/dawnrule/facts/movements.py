"""Which of the movements that a balanced week holds does a block train?"""

from __future__ import annotations

from dawnrule.facts.check_in import Block
from dawnrule.vocabulary import Vocabulary


def movements_of(block: Block, vocabulary: Vocabulary) -> frozenset[str]:
    """The movements of a lifting block: that of its pattern, else those that its muscle groups
    stand for; none for other goals."""
    if block.goal not in vocabulary.lifting_goals:
        return frozenset()
    if block.pattern is not None:
        return frozenset({vocabulary.patterns[block.pattern].movement})
    return frozenset(
        vocabulary.movement_of_group[group]
        for group in block.muscle_groups
        if group in vocabulary.movement_of_group
    )
