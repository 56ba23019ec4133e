"""How are findings told to a code host? As SARIF 2.1.0 (OASIS), which it shows beside the lines."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from urllib.parse import quote

from dawnrule.errors import Finding
from dawnrule.rules.findings import KINDS, Kind, severity_of

SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)


def to_sarif(findings: Iterable[Finding], service_version: str) -> dict[str, Any]:
    """Findings as one SARIF log of one run, in plain JSON values."""
    driver = {
        "name": "dawnrule",
        "semanticVersion": service_version,
        "rules": [_descriptor(code, kind) for code, kind in KINDS.items()],
    }
    results = [_result(finding) for finding in findings]
    return {
        "$schema": SCHEMA,
        "version": "2.1.0",
        "runs": [
            {"tool": {"driver": driver}, "columnKind": "unicodeCodePoints", "results": results}
        ],
    }


def _descriptor(code: str, kind: Kind) -> dict[str, Any]:
    return {
        "id": code,
        "shortDescription": {"text": kind.says},
        "help": {"text": kind.mend},
        "defaultConfiguration": {"level": kind.severity.value},
    }


def _result(finding: Finding) -> dict[str, Any]:
    where: dict[str, Any] = {
        "physicalLocation": {
            "artifactLocation": {"uri": quote(finding.file)},
            "region": {"startLine": finding.line},
        }
    }
    if finding.rule:
        where["logicalLocations"] = [{"name": finding.rule, "kind": "member"}]
    return {
        "ruleId": finding.code,
        "ruleIndex": list(KINDS).index(finding.code),
        "level": severity_of(finding).value,
        "message": {"text": f"{finding.message}. {KINDS[finding.code].mend}"},
        "locations": [where],
        "properties": {"inputs": [dict(facts) for facts in finding.inputs]},
    }
