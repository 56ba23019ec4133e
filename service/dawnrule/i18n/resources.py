"""The data files that ship with the service: where they are, and how they are read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import yaml

_TEXT = "tag:yaml.org,2002:str"
_PACKAGE = Path(__file__).resolve().parents[1]


def _root() -> Path:
    """Return the folder of ``rules/`` and ``openapi.yaml``: inside the wheel or the checkout."""
    inside_wheel = _PACKAGE / "shipped"
    return inside_wheel if inside_wheel.is_dir() else _PACKAGE.parents[1]


def rules_folder() -> Path:
    """Return the folder of the fact dictionary, the vocabulary and the rule sets."""
    return _root() / "rules"


def openapi_file() -> Path:
    """Return the path of the committed description of the HTTP interface."""
    return _root() / "openapi.yaml"


def read_data(file: Path) -> Any:
    """Read a YAML file that ships with the service, by the parser in C: the one in Python takes
    most of the time in which a command starts. Rule sets have a reader of their own."""
    return yaml.load(file.read_text(encoding="utf-8"), _Loader)


class _Loader(yaml.CSafeLoader):
    """PyYAML's own loader, without what it does for each text and each path: texts, which are most
    of a file, are taken as they stand, and no tag depends on a path."""

    def construct_object(self, node: yaml.Node, deep: bool = False) -> Any:
        """Return the value of a node."""
        is_text = node.tag == _TEXT and isinstance(node, yaml.ScalarNode)
        return node.value if is_text else super().construct_object(node, deep)

    def descend_resolver(self, *_: Any) -> None:
        """Do nothing."""

    def ascend_resolver(self) -> None:
        """Do nothing."""
