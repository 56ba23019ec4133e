"""Which muscle groups does a block train?"""

from __future__ import annotations

from dawnrule.facts.check_in import Block
from dawnrule.vocabulary import Vocabulary


def groups_of(block: Block, vocabulary: Vocabulary) -> tuple[str, ...]:
    """The muscle groups that a block trains: those it names, those of its pattern, and those that
    its modality loads whether they are named or not."""
    pattern = vocabulary.patterns[block.pattern].muscle_groups if block.pattern else ()
    loaded = vocabulary.modalities[block.modality].loads if block.modality else ()
    return tuple(dict.fromkeys((*block.muscle_groups, *pattern, *loaded)))
