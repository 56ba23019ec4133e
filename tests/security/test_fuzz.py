"""A short run of random requests, the same each time, by the first of the roles that may send them;
``tests/fuzz.py`` has the long one."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from dawnrule.advice.advisor import Advisor
from dawnrule.store import Role
from dawnrule.web.app import RESOURCES
from tests import fuzz
from tests.effort import tries
from tests.fuzz import Target

EXAMPLES = 4
SEED = 1


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory, advisor: Advisor) -> Iterator[Target]:
    with fuzz.target(tmp_path_factory.mktemp("fuzz"), advisor) as at:
        yield at


@pytest.mark.parametrize("resource", [resource.name for resource in RESOURCES])
def test_whatever_is_sent_to_it_the_answer_is_as_described(target: Target, resource: str) -> None:
    target.answers.clear()
    operations = [one for one in target.operations if one.tags == [resource]]
    assert operations
    for operation in operations:
        for role in fuzz.roles_of(operation)[: tries(1, len(Role))]:
            fuzz.attack(target, operation, role, EXAMPLES, SEED)
    assert set(target.answers) - {400, 401, 403, 404, 405, 415, 422}, "nothing got through"
