"""Staged returns: the stages by which an athlete comes back, and what each allows (pure).

Returns are data: ``rules/returns/<id>.yaml``, one file for each reason of a return. What a block
does not state (effort, minutes, sets) counts as within a stage.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Self, TypeAlias

from dawnrule.errors import Finding, RuleSetInvalid
from dawnrule.i18n.resources import rules_folder
from dawnrule.model import Facts, Vocabulary
from dawnrule.rules.limits import LIMIT_NAMES, Limits, as_strict, exceeded
from dawnrule.rules.loading.loader import digest_of
from dawnrule.rules.loading.published_files import is_published
from dawnrule.rules.loading.yaml_reader import YamlSource, read_yaml
from dawnrule.rules.rule_set import Basis

if TYPE_CHECKING:
    from jsonschema import Draft202012Validator

Counted: TypeAlias = Literal["hours", "days", "sessions", "weeks"]
Length: TypeAlias = Literal["fixed", "as-long-as-it-lasted"]


@dataclass(frozen=True, slots=True)
class Allowance:
    """The blocks that a stage allows. ``goals`` and ``modalities`` are None where any is allowed;
    ``nothing`` allows no block at all; ``modality_must_be_told`` allows no block that does not
    state its modality."""

    limits: Limits
    nothing: bool = False
    goals: tuple[str, ...] | None = None
    modalities: tuple[str, ...] | None = None
    modality_must_be_told: bool = False


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage. ``least`` is its minimum duration, in the unit of the return."""

    stage: int
    title: str
    allows: Allowance
    least: int
    needs_clearance: bool
    on_when: str
    back_when: str


@dataclass(frozen=True, slots=True)
class Return:
    """A staged return. ``after`` are the concern kinds that it follows, or "break". If its length
    is that of what it follows, it has one stage that lasts from ``least`` to ``most``."""

    id: str
    version: str
    title: str
    after: tuple[str, ...]
    summary: str
    counted_in: Counted
    length: Length
    stages: tuple[Stage, ...]
    basis: Basis
    wrong_when: str
    digest: str
    least: int | None = None
    most: int | None = None

    @property
    def full_name(self) -> str:
        """Id and version, as ``head-injury@1.0.0``."""
        return f"{self.id}@{self.version}"

    def stage_at(self, number: int) -> Stage:
        """Return a stage by its number, from 1 on; beyond the last one, the last."""
        return self.stages[min(max(number, 1), len(self.stages)) - 1]

    def lasts(self, it_lasted: int) -> int:
        """Compute the minimum duration of the return after something that lasted so long, in the
        unit of the return."""
        if self.length == "fixed":
            return sum(stage.least for stage in self.stages)
        return min(max(it_lasted, self.least or 0), self.most or it_lasted)


@dataclass(frozen=True, slots=True)
class Returns(Mapping[str, Return]):
    """Staged returns by what they follow, in the order of the vocabulary."""

    returns: Mapping[str, Return]

    @classmethod
    @cache
    def bundled(cls) -> Self:
        """Load the returns that ship with the service."""
        return cls.from_folder(rules_folder() / "returns", Vocabulary.bundled())

    @classmethod
    def from_folder(cls, folder: Path, vocabulary: Vocabulary) -> Self:
        """Load the returns in a folder. Raises ``RuleSetInvalid`` with every finding."""
        found = {file.stem: load_return(file, vocabulary) for file in sorted(folder.glob("*.yaml"))}
        order = {id_: place for place, id_ in enumerate(vocabulary.returns)}
        return cls(dict(sorted(found.items(), key=lambda item: order[item[0]])))

    def __getitem__(self, after: str) -> Return:
        return self.returns[after]

    def __iter__(self) -> Iterator[str]:
        return iter(self.returns)

    def __len__(self) -> int:
        return len(self.returns)


def load_return(file: Path, vocabulary: Vocabulary | None = None) -> Return:
    """Read a return file; one that was published is not checked again. Raises ``RuleSetInvalid``
    with every finding, or ``OSError``."""
    data = file.read_bytes()
    if is_published(data):
        return _return(read_yaml(data.decode(), file.name).data)
    return parse_return(data.decode(), file.name, vocabulary)


def parse_return(text: str, file: str, vocabulary: Vocabulary | None = None) -> Return:
    """Read a return from YAML text. Raises ``RuleSetInvalid`` with every finding."""
    source = read_yaml(text, file)
    words = vocabulary or Vocabulary.bundled()
    findings = list(_schema_findings(source)) or list(_meaning_findings(source, words))
    if findings:
        raise RuleSetInvalid(sorted(findings, key=lambda finding: finding.line))
    return _return(source.data)


def breaches(stage: Stage, facts: Facts) -> tuple[str, ...]:
    """List, by their names in the return file, the allowances of a stage that a block exceeds, by
    the facts of one of its parts."""
    allows = stage.allows
    found = []
    if allows.nothing:
        found.append("nothing")
    if allows.goals is not None and facts.get("goal") not in allows.goals:
        found.append("goals")
    modality = facts.get("modality")
    if modality is None:
        if allows.modality_must_be_told and facts.get("goal") != "mobility":
            found.append("modality_must_be_told")
    elif allows.modalities is not None and modality not in allows.modalities:
        found.append("modalities")
    return (*found, *exceeded(allows.limits, facts))


def stage_allows(stage: Stage, facts: Facts) -> bool:
    """Tell whether a stage allows a block, by the facts of one of its parts."""
    return not breaches(stage, facts)


def _return(data: Mapping[str, Any]) -> Return:
    return Return(
        id=data["return"],
        version=data["version"],
        title=data["title"],
        after=tuple(data["after"]),
        summary=data["summary"],
        counted_in=data["counted_in"],
        length=data["length"],
        stages=tuple(map(_stage, data["stages"])),
        basis=Basis(**data["basis"]),
        wrong_when=data["wrong_when"],
        digest=digest_of(data),
        least=data.get("least"),
        most=data.get("most"),
    )


def _stage(data: Mapping[str, Any]) -> Stage:
    allows = data.get("allows", {})
    limits = Limits.from_json({name: allows[name] for name in LIMIT_NAMES if name in allows})
    return Stage(
        stage=data["stage"],
        title=data["title"],
        allows=Allowance(
            limits,
            nothing=allows.get("nothing", False),
            goals=_tuple(allows.get("goals")),
            modalities=_tuple(allows.get("modalities")),
            modality_must_be_told=allows.get("modality_must_be_told", False),
        ),
        least=data["least"],
        needs_clearance=data.get("needs_clearance", False),
        on_when=data["on_when"],
        back_when=data["back_when"],
    )


def _tuple(words: list[str] | None) -> tuple[str, ...] | None:
    return None if words is None else tuple(words)


def _schema_findings(source: YamlSource) -> Iterator[Finding]:
    for error in _validator().iter_errors(source.data):
        pointer = "".join(f"/{step}" for step in error.absolute_path)
        yield source.finding("schema", pointer, error.message)


def _meaning_findings(source: YamlSource, words: Vocabulary) -> Iterator[Finding]:
    """Yield unknown words, stages out of order, a later stage that allows less, and a stage that
    needs clearance before one that does not."""
    data = source.data
    known = {*words.concern_kinds, "break"}
    if data["return"] not in words.returns:
        yield source.finding("value", "/return", f"{data['return']!r} is no return of the words")
    for index, kind in enumerate(data["after"]):
        if kind not in known:
            yield source.finding("value", f"/after/{index}", f"{kind!r} is no kind of concern")
    if data["length"] != "fixed" and not ("least" in data and "most" in data):
        yield source.finding("schema", "/length", "least and most are needed")
    before = None
    for index, stage in enumerate(data["stages"]):
        pointer = f"/stages/{index}"
        allows = stage.get("allows", {})
        if stage["stage"] != index + 1:
            yield source.finding("value", f"{pointer}/stage", f"must be {index + 1}")
        for name, list_ in (("goals", words.goals), ("modalities", words.modalities)):
            unknown = [word for word in allows.get(name, ()) if word not in list_]
            if unknown:
                yield source.finding("value", f"{pointer}/allows", f"unknown: {unknown[0]}")
        if before is not None:
            less = _less(before, stage)
            if less:
                yield source.finding("value", pointer, f"allows less than the stage before: {less}")
        before = stage


def _less(before: Mapping[str, Any], after: Mapping[str, Any]) -> str | None:
    """Name what a stage allows less of than the one before it, if anything."""
    one, other = _stage(before).allows, _stage(after).allows
    if other.nothing and not one.nothing:
        return "nothing"
    if one.nothing:
        return None
    for name in ("goals", "modalities"):
        earlier, later = getattr(one, name), getattr(other, name)
        if later is not None and (earlier is None or not set(earlier) <= set(later)):
            return name
    if other.modality_must_be_told and not one.modality_must_be_told:
        return "modality_must_be_told"
    known = dict(one.limits.given())
    for name, value in other.limits.given():
        if name not in known or not as_strict(known[name], name, value):
            return name
    if before.get("needs_clearance") and not after.get("needs_clearance"):
        return "needs_clearance"
    return None


@cache
def _validator() -> Draft202012Validator:
    from jsonschema import Draft202012Validator  # takes a while, and published files need none

    schema = json.loads((rules_folder() / "return.schema.json").read_text(encoding="utf-8"))
    return Draft202012Validator(schema)
