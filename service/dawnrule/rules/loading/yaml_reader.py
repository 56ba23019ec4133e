"""YAML reader: plain values only, each with its line."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import yaml

from dawnrule.errors import Finding, RuleSetInvalid

MAX_DEPTH = 40
"""The deepest nesting of a file; a rule needs about ten levels. It prevents stack exhaustion."""

_GREATEST = 2**53 - 1
"""The greatest whole number that has a digest (RFC 8785); what is no finite number, such as 1e400,
has none either."""

_SHOWN_CHARACTERS = 20

_UNSPECIFIC_TAG = "!"
_PLAIN_TAGS = frozenset(
    f"tag:yaml.org,2002:{name}" for name in ("map", "seq", "str", "int", "float", "bool", "null")
)

_WORDS = {"": None, "~": None, "null": None} | {
    word: meaning
    for meaning in (True, False)
    for word in (str(meaning), str(meaning).lower(), str(meaning).upper())
}
_WHOLE = re.compile(r"-?(?:0|[1-9][0-9]*)")
_NUMBER = re.compile(rf"{_WHOLE.pattern}(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?")


@lru_cache(maxsize=4096)
def _meaning_of(word: str) -> Any:
    """Return the value of what stands without quotes, by the scalars of JSON only: ``no`` and
    ``on`` are words, dates are text, and neither ``48:00`` nor ``010`` is a number of another base.
    Raises ``ValueError`` for a number of thousands of digits."""
    if word in _WORDS:
        return _WORDS[word]
    if _WHOLE.fullmatch(word):
        return int(word)
    return float(word) if _NUMBER.fullmatch(word) else word


@dataclass(frozen=True, slots=True)
class YamlSource:
    """A file's plain values, and the line (from 1) of each by JSON Pointer."""

    file: str
    data: Any
    lines: Mapping[str, int]

    def line(self, pointer: str) -> int:
        """Return the line of a JSON Pointer, or of the nearest value around it."""
        while pointer and pointer not in self.lines:
            pointer = pointer.rpartition("/")[0]
        return self.lines.get(pointer, 1)

    def finding(self, code: str, pointer: str, message: str, rule: str | None = None) -> Finding:
        """Create a finding at a JSON Pointer of this file."""
        return Finding(self.file, self.line(pointer), rule, code, message)


def read_yaml(text: str, file: str) -> YamlSource:
    """Read one YAML document; ``file`` is its name in findings.

    Raises ``RuleSetInvalid`` for text that is not YAML, for duplicate keys, and for anchors,
    aliases and tags, which a rule file does not need and a malicious one abuses.
    """
    loader = yaml.CSafeLoader(text)
    reader = _Reader(file, loader)
    try:
        data = reader.document()
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise _invalid(file, line, f"not YAML: {error.problem or error.context}") from error
    except (yaml.YAMLError, ValueError) as error:
        raise _invalid(file, 1, f"not YAML: {error}") from error
    finally:
        loader.dispose()
    return YamlSource(file, data, reader.lines)


@dataclass(slots=True)
class _Reader:
    """A walk over the events of a document that collects plain values and lines, and refuses
    anything else. A tree of nodes would take twice the time."""

    file: str
    loader: yaml.CSafeLoader
    lines: dict[str, int] = field(default_factory=dict)
    anchors: dict[str, int] = field(default_factory=dict)

    def document(self) -> Any:
        next_event = self.loader.get_event
        next_event()  # the stream begins
        if isinstance(next_event(), yaml.StreamEndEvent):
            raise _invalid(self.file, 1, "the file is empty")
        value = self._value(next_event(), "", 0)
        next_event()  # the document ends
        after: Any = next_event()
        if not isinstance(after, yaml.StreamEndEvent):
            line = after.start_mark.line + 1
            raise _invalid(self.file, line, "not YAML: but found another document")
        return value

    def _value(self, event: Any, pointer: str, depth: int) -> Any:
        line = self.lines[pointer] = self._line_of(event)
        if depth > MAX_DEPTH:
            raise _invalid(self.file, line, f"nested deeper than {MAX_DEPTH} levels")
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(event, line)
        if isinstance(event, yaml.MappingStartEvent):
            return self._mapping(pointer, depth + 1)
        return self._list(pointer, depth + 1)

    def _mapping(self, pointer: str, depth: int) -> dict[str, Any]:
        found: dict[str, Any] = {}
        next_event = self.loader.get_event
        while not isinstance(key := next_event(), yaml.MappingEndEvent):
            line = self._line_of(key)
            if not isinstance(key, yaml.ScalarEvent):
                raise _invalid(self.file, line, "a key is one word, not a list or a mapping")
            name = key.value
            if name in found:
                raise _invalid(self.file, line, f"{name!r} stands here a second time")
            step = name.replace("~", "~0").replace("/", "~1")
            found[name] = self._value(next_event(), f"{pointer}/{step}", depth)
        return found

    def _list(self, pointer: str, depth: int) -> list[Any]:
        found: list[Any] = []
        next_event = self.loader.get_event
        while not isinstance(event := next_event(), yaml.SequenceEndEvent):
            found.append(self._value(event, f"{pointer}/{len(found)}", depth))
        return found

    def _scalar(self, event: Any, line: int) -> Any:
        """Return a scalar; refuse a number that no digest can be made of."""
        try:
            value = self._meaning(event)
        except ValueError as error:
            shown = event.value[:_SHOWN_CHARACTERS]
            raise _invalid(self.file, line, f"not YAML: {shown} is no number") from error
        if isinstance(value, int | float) and not -_GREATEST <= value <= _GREATEST:
            shown = event.value[:_SHOWN_CHARACTERS]
            raise _invalid(
                self.file, line, f"{shown} is no number from -{_GREATEST} to {_GREATEST}"
            )
        return value

    def _meaning(self, event: Any) -> Any:
        if event.tag is not None and event.tag != _UNSPECIFIC_TAG:
            node = yaml.ScalarNode(event.tag, event.value, event.start_mark, event.end_mark)
            return self.loader.construct_object(node)
        stands_without_quotes, _ = event.implicit
        return _meaning_of(event.value) if stands_without_quotes else event.value

    def _line_of(self, event: Any) -> int:
        """Return the line of an event; refuse a tag, and what stands somewhere else."""
        line: int = event.start_mark.line + 1
        if event.anchor is not None:
            self._note_anchor(event, line)
        if event.tag is not None and event.tag not in {_UNSPECIFIC_TAG, *_PLAIN_TAGS}:
            raise _invalid(self.file, line, f"the tag {event.tag!r} is not allowed here")
        return line

    def _note_anchor(self, event: Any, line: int) -> None:
        """Remember where an anchor stands; refuse an alias, which stands for what is there."""
        anchor: str = event.anchor
        if not isinstance(event, yaml.AliasEvent):
            if anchor in self.anchors:
                raise _invalid(self.file, line, "not YAML: second occurrence")
            self.anchors[anchor] = line
            return
        if anchor not in self.anchors:
            raise _invalid(self.file, line, "not YAML: found undefined alias")
        message = "anchors and aliases are not allowed; write it out"
        raise _invalid(self.file, self.anchors[anchor], message)


def _invalid(file: str, line: int, message: str) -> RuleSetInvalid:
    return RuleSetInvalid([Finding(file, line, None, "yaml", message)])
