"""How do check-ins, sessions and athletes become plain JSON values, and come back?

The plain form is that of the interface, without what was not reported. It is for data that
the schemas have let in already: nothing is validated here.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, TypeVar

from cattrs import Converter
from cattrs.gen import make_dict_unstructure_fn, override

from dawnrule.model.entities import Athlete, Block, CheckIn, LastTrained, Pain, Session, Sleep

T = TypeVar("T")

_converter = Converter(detailed_validation=False)
_converter.register_unstructure_hook(datetime, datetime.isoformat)
_converter.register_unstructure_hook(date, date.isoformat)
_converter.register_structure_hook(datetime, lambda text, _: datetime.fromisoformat(text))
_converter.register_structure_hook(date, lambda text, _: date.fromisoformat(text))
for _kind in (Block, LastTrained, Pain, Sleep, Athlete, Session):
    _converter.register_unstructure_hook(
        _kind, make_dict_unstructure_fn(_kind, _converter, _cattrs_omit_if_default=True)
    )
_converter.register_unstructure_hook(
    CheckIn,
    make_dict_unstructure_fn(
        CheckIn, _converter, _cattrs_omit_if_default=True, plan=override(omit_if_default=False)
    ),
)


def to_json(value: Athlete | CheckIn | Session) -> dict[str, Any]:
    """Plain JSON values of an athlete, check-in or session; what was not reported is left out."""
    plain: dict[str, Any] = _converter.unstructure(value)
    return plain


def from_json(kind: type[T], plain: dict[str, Any]) -> T:
    """The athlete, check-in or session that ``to_plain`` made the plain values of."""
    return _converter.structure(plain, kind)
