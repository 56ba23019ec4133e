"""The matcher: rules compiled for durable-rules, and the rules that it fires.

This is the one module that imports durable-rules. The library crashes, hangs or answers wrongly
when it is used as documented, so only the C module beneath it is used, and only in the way that was
found to be safe: one flat fact in one state that is deleted after each decision; no host, no
timers, no actions, no chaining. All text that reaches it comes from ``encoding``.
"""

from __future__ import annotations

import weakref
from collections.abc import Iterable, Sequence
from functools import cache
from itertools import chain
from threading import Lock

import durable_rules_engine as engine

from dawnrule.errors import EngineFailure
from dawnrule.model import FactDictionary, Facts, Scope
from dawnrule.rules.engine.encoding import ALIVE, HEAD, STATE_ID, Encoder
from dawnrule.rules.engine.limits import (
    MAX_NAMES,
    CompilableRule,
    compilable,
    pieces,
    refusal,
    shards,
)
from dawnrule.rules.rule_set import Rule

MEMORY_KEPT_BYTES = 8 * 1024 * 1024
"""More than a state takes. The engine allocates and frees a state of some hundred kilobytes for
each decision; by default the C library may return that memory to the system each time and request
it again, which takes five times as long as the decision."""

CANARY = "canary"
"""The rule that stands first and always fires; if it does not, the engine has failed."""

_CANARY_FIRED = f'{{"{CANARY}":'


class Matcher:
    """The rules of one scope, compiled for the engine. Safe to use from several threads.

    ``close``, or garbage collection, releases what the engine holds.
    """

    def __init__(
        self, rules: Sequence[Rule], dictionary: FactDictionary, scope: Scope, file: str = "rules"
    ) -> None:
        """Compile the rules; ``file`` is the name used in findings.

        Raises ``RuleSetInvalid`` for a rule that the engine cannot take.
        """
        encoder = Encoder(dictionary)
        divided = shards(compilable(rule, dictionary, scope, file) for rule in rules)
        self._shards = [_Shard(shard, encoder) for shard in divided]
        if encoder.names_sent() > MAX_NAMES:
            raise refusal(rules[-1], file, "too-many-facts", "the rules test too many facts")
        self._write = encoder.fact_writer()
        self._lock = Lock()

    def fired(self, facts: Facts) -> frozenset[str]:
        """Return the ids of the rules that fire.

        Raises ``EngineFailure`` for facts that do not fit the dictionary, or when the engine does
        not answer as it must.
        """
        written = self._write(facts)
        with self._lock:
            return frozenset(chain.from_iterable([shard.fired(written) for shard in self._shards]))

    def close(self) -> None:
        """Release what the engine holds, after the decision in progress."""
        with self._lock:
            for shard in self._shards:
                shard.close()


class _Shard:
    """As many rules as the engine can take at once. Only one thread may use it at a time."""

    def __init__(self, rules: Iterable[CompilableRule], encoder: Encoder) -> None:
        self._ids: dict[str, str] = {}
        self._firings_at_most = 0
        written = [_rule(CANARY, ALIVE)]
        for rule, conjunctions in pieces(rules):
            name = f"r{len(self._ids)}"
            self._ids[name] = rule.id
            self._firings_at_most += len(conjunctions)
            written.append(_rule(name, encoder.condition(conjunctions)))
        self._handle = _created("{" + ",".join(written) + "}")
        self._delete = weakref.finalize(self, engine.delete_ruleset, self._handle)
        self._delete.atexit = False

    def fired(self, facts: str) -> set[str]:
        """Return the ids of the rules that fire on encoded facts."""
        if not self._delete.alive:
            raise EngineFailure("The rules were given back to the engine already.")
        try:
            return self._decided(facts)
        except engine.error as error:
            raise EngineFailure(f"The engine did not take the facts: {error}") from error

    def close(self) -> None:
        """Delete the rules from the engine; a second call does nothing."""
        self._delete()

    def _decided(self, facts: str) -> set[str]:
        handle = self._handle
        try:
            code, state = engine.assert_fact(handle, facts)
            _check_canary(code, engine.start_action_for_state(handle, state))
            return {self._ids[name] for name in self._names_fired(state)}
        finally:
            engine.delete_state(handle, STATE_ID)

    def _names_fired(self, state: int) -> list[str]:
        """List the engine's names of the rules that fire, once for each conjunction that holds."""
        names: list[str] = []
        while message := engine.complete_and_start_action(self._handle, state):
            names.append(message[2 : message.index('"', 2)])  # {"name":{...}}
            if len(names) > self._firings_at_most:
                raise EngineFailure("The engine does not stop firing.")
        return names


def _check_canary(code: int, started: tuple[str, str] | None) -> None:
    """Verify that the engine took the facts and fired the canary first."""
    if code or started is None or not started[1].startswith(_CANARY_FIRED):
        raise EngineFailure(f"The rule that always fires did not (code {code}).")


def _created(definition: str) -> int:
    """Create a rule set in the engine, warm it up, and return its handle.

    The library frees memory that was never set when a state is deleted in which nothing has fired
    yet, so the first decision is made here; if nothing fires, the state is left undeleted.
    """
    _keep_memory()
    try:
        handle: int = engine.create_ruleset("dawnrule", definition)
        code, state = engine.assert_fact(handle, HEAD + "}")
        _check_canary(code, engine.start_action_for_state(handle, state))
        engine.delete_state(handle, STATE_ID)
    except engine.error as error:
        raise EngineFailure(f"The engine did not take the rules: {error}") from error
    return handle


@cache
def _keep_memory() -> None:
    """Raise, once, the size up to which glibc keeps freed memory: twice the largest block that it
    has seen freed."""
    bytes(MEMORY_KEPT_BYTES)


def _rule(name: str, condition: str) -> str:
    return f'"{name}":{{"all":[{{"m":{condition}}}]}}'
