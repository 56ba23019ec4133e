"""JSON Schema validation of rule files, with findings in plain words."""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import cache
from typing import TYPE_CHECKING, Any

from dawnrule.errors import Finding
from dawnrule.i18n.resources import rules_folder
from dawnrule.rules.loading.yaml_reader import YamlSource

if TYPE_CHECKING:
    from jsonschema import Draft202012Validator
    from jsonschema.exceptions import ValidationError

RULE_SET = "rule-set.schema.json"
EXTENSION = "extension.schema.json"
"""The names of the schemas in ``rules/``; the second refers to the first by its name."""


def schema_findings(source: YamlSource, schema: str) -> Iterator[Finding]:
    """Yield what a JSON Schema finds, except inside conditions, which have a parser of their
    own."""
    for error in _validator(schema).iter_errors(source.data):
        path = [str(step) for step in error.absolute_path]
        if "when" in path or (path[:1] == ["signals"] and len(path) > 1):
            continue
        pointer = "".join(f"/{step}" for step in path)
        yield source.finding("schema", pointer, _say(error), _rule_at(source, path))


def _rule_at(source: YamlSource, path: list[str]) -> str | None:
    if path[:1] != ["rules"] or len(path) == 1:
        return None
    index = int(path[1])
    return name_of(source.data["rules"][index], index)


def name_of(data: Any, index: int) -> str:
    """Return the rule's id, or its place in the file when it has none."""
    return (
        str(data.get("id", f"number {index + 1}"))
        if isinstance(data, dict)
        else f"number {index + 1}"
    )


_TYPES = {
    "array": "a list",
    "boolean": "true or false",
    "number": "a number",
    "object": "fields with values",
    "string": "text (put it in quotes if it looks like a number)",
}


def _named(error: ValidationError) -> str:
    """Name the field that an error concerns, or the place of an item in its list."""
    step = error.absolute_path[-1] if error.absolute_path else "the file"
    return f"number {step + 1}" if isinstance(step, int) else step


def _say(error: ValidationError) -> str:
    allowed: Any = error.validator_value
    instance: Any = error.instance
    schema: Any = error.schema
    name = _named(error)
    match error.validator:
        case "type":
            types = [allowed] if isinstance(allowed, str) else allowed
            return f"{name} must be {' or '.join(_TYPES[word] for word in types)}"
        case "minItems":
            return f"{name}: at least {allowed} must be given"
        case "additionalProperties":
            known = schema.get("properties", {})
            unknown = ", ".join(repr(key) for key in instance if key not in known)
            return f"unknown field {unknown}; allowed: {', '.join(known)}"
        case "required":
            missing = ", ".join(key for key in allowed if key not in instance)
            return f"missing: {missing}"
        case "enum":
            words = ", ".join(str(word) for word in allowed)
            return f"{name} is {instance!r}; allowed: {words}"
        case "maxLength":
            return f"{name} has {len(instance)} characters; at most {allowed} are allowed"
        case "pattern":
            return f"{name}: {instance!r} does not fit. {schema['description']}"
        case _:
            return f"{name}: {error.message}"


@cache
def _validator(schema: str) -> Draft202012Validator:
    from jsonschema import Draft202012Validator  # takes a while, and published files need none

    return Draft202012Validator(_read(schema))


@cache
def _read(schema: str) -> Any:
    """Read a schema with each reference replaced by what it refers to: to follow one takes longer
    than to validate. Conditions, which are most of a file and refer to themselves, are not looked
    into: what would be found there is left to their parser."""
    read = json.loads((rules_folder() / schema).read_text(encoding="utf-8"))
    if schema == RULE_SET:
        read["$defs"]["condition"] = True
    return _written_out(read, read)


def _written_out(part: Any, whole: Any) -> Any:
    match part:
        case {"$ref": str(reference)}:
            file, _, pointer = reference.partition("#/")
            found = _read(file) if file else whole
            for step in pointer.split("/"):
                found = found[step]
            return found if file else _written_out(found, whole)
        case dict():
            return {name: _written_out(inner, whole) for name, inner in part.items()}
        case list():
            return [_written_out(inner, whole) for inner in part]
    return part
