"""YAML reader: plain values only, each with its line."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import yaml

from dawnrule.errors import Finding, RuleSetInvalid

MAX_DEPTH = 40
"""The deepest nesting of a file; a rule needs about ten levels. It prevents stack exhaustion."""

_GREATEST = 2**53 - 1
"""The greatest whole number that has a digest (RFC 8785); what is no finite number, such as 1e400,
has none either."""

_SHOWN_CHARACTERS = 20


_PLAIN_TAGS = frozenset(
    f"tag:yaml.org,2002:{name}" for name in ("map", "seq", "str", "int", "float", "bool", "null")
)


class _PlainLoader(yaml.CSafeLoader):
    """YAML with the scalars of JSON only: ``no`` and ``on`` are words, dates are text, and neither
    ``48:00`` nor ``010`` is a number of another base."""


_PlainLoader.yaml_implicit_resolvers = {}
_NUMBER = r"-?(?:0|[1-9][0-9]*)"
for _tag, _scalar, _first in (
    ("null", r"null|~|", ["n", "~", ""]),
    ("bool", r"true|True|TRUE|false|False|FALSE", list("tTfF")),
    ("int", _NUMBER, list("-0123456789")),
    ("float", rf"{_NUMBER}(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?", list("-0123456789")),
):
    _PlainLoader.add_implicit_resolver(
        f"tag:yaml.org,2002:{_tag}", re.compile(rf"^(?:{_scalar})$"), _first
    )


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
    loader = _PlainLoader(text)
    try:
        node = loader.get_single_node()
        if node is None:
            raise _invalid(file, 1, "the file is empty")
        lines: dict[str, int] = {}
        data = _Reader(file, loader, lines).value(node, "")
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise _invalid(file, line, f"not YAML: {error.problem or error.context}") from error
    except (yaml.YAMLError, ValueError) as error:
        raise _invalid(file, 1, f"not YAML: {error}") from error
    finally:
        loader.dispose()
    return YamlSource(file, data, lines)


@dataclass(slots=True)
class _Reader:
    """A walk over the node tree that collects plain values and lines, and refuses anything else."""

    file: str
    loader: _PlainLoader
    lines: dict[str, int]
    seen: set[int] = field(default_factory=set)

    def value(self, node: yaml.Node, pointer: str) -> Any:
        line = self._refuse_unplain(node)
        if pointer.count("/") > MAX_DEPTH:
            raise _invalid(self.file, line, f"nested deeper than {MAX_DEPTH} levels")
        self.lines[pointer] = line
        if isinstance(node, yaml.MappingNode):
            return dict(self._members(node, pointer))
        if isinstance(node, yaml.SequenceNode):
            return [self.value(item, f"{pointer}/{i}") for i, item in enumerate(node.value)]
        return self._scalar(node, line)

    def _scalar(self, node: yaml.Node, line: int) -> Any:
        """Return a scalar; refuse a number that no digest can be made of."""
        shown = str(node.value)[:_SHOWN_CHARACTERS]
        try:
            value = self.loader.construct_object(node)
        except ValueError as error:
            raise _invalid(self.file, line, f"not YAML: {shown} is no number") from error
        if isinstance(value, int | float) and not -_GREATEST <= value <= _GREATEST:
            raise _invalid(
                self.file, line, f"{shown} is no number from -{_GREATEST} to {_GREATEST}"
            )
        return value

    def _members(self, node: yaml.MappingNode, pointer: str) -> Iterator[tuple[str, Any]]:
        names: set[str] = set()
        for key_node, value_node in node.value:
            line = self._refuse_unplain(key_node)
            if not isinstance(key_node, yaml.ScalarNode):
                raise _invalid(self.file, line, "a key is one word, not a list or a mapping")
            name = key_node.value
            if name in names:
                raise _invalid(self.file, line, f"{name!r} stands here a second time")
            names.add(name)
            step = name.replace("~", "~0").replace("/", "~1")
            yield name, self.value(value_node, f"{pointer}/{step}")

    def _refuse_unplain(self, node: yaml.Node) -> int:
        """Return the line of a node; refuse a tag, and a node met before."""
        line: int = node.start_mark.line + 1
        if node.tag not in _PLAIN_TAGS:
            raise _invalid(self.file, line, f"the tag {node.tag!r} is not allowed here")
        if id(node) in self.seen:
            raise _invalid(self.file, line, "anchors and aliases are not allowed; write it out")
        self.seen.add(id(node))
        return line


def _invalid(file: str, line: int, message: str) -> RuleSetInvalid:
    return RuleSetInvalid([Finding(file, line, None, "yaml", message)])
