"""The page of private addresses: hand them out as a sheet to print, list and end them.

A new address is shown in the answer to the form that made it, and never again: only its hash is
stored.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import segno
from flask import redirect, render_template, request, url_for
from markupsafe import Markup

from dawnrule.application.private_addresses import (
    NewAddress,
    create_address,
    end_addresses,
    revoke_address,
)
from dawnrule.errors import InvalidInput
from dawnrule.model.entities import Athlete
from dawnrule.schemas.errors import load
from dawnrule.schemas.private_address import NewAddressSchema
from dawnrule.store import PrivateAddress, Purpose, Transaction
from dawnrule.web.coach.forms import (
    SEE_OTHER,
    UNPROCESSABLE,
    Chosen,
    choices,
    chosen_of,
    faults_of,
    filled,
)
from dawnrule.web.coach.layout import coach
from dawnrule.web.context import context
from dawnrule.web.http.authorization import caller
from dawnrule.web.http.locale import say
from dawnrule.web.private.addresses import paths_of
from dawnrule.web.private.form import Answers

_NEW_ADDRESS = NewAddressSchema()
_SCHEMES = ("http", "https")


@dataclass(frozen=True, slots=True)
class Link:
    """One way that an address opens: what it is for, where it is, and the code to scan; None where
    nobody knows where the service is reached, or where a program reads it."""

    what: str
    address: str
    code: Markup | None


@dataclass(frozen=True, slots=True)
class Card:
    """What an athlete is handed."""

    athlete: Athlete
    links: Sequence[Link]


@dataclass(frozen=True, slots=True)
class Line:
    """An address that works, and whose it is."""

    athlete: Athlete
    address: PrivateAddress


@coach.get("/addresses")
def addresses() -> str:
    """Show which addresses work, and the form to hand out new ones."""
    return _page(Answers({"purpose": (Purpose.CHECK_IN.value,)}), {})


@coach.post("/addresses")
def hand_out() -> Any:
    """Make an address for each chosen athlete, and show them once, as a sheet to print."""
    answers, by, at = Answers.of_form(request.form), caller().id, context().clock()
    base = context().settings.public_url or answers.one("base").rstrip("/")
    try:
        if base and not _is_base(base):
            return _page(answers, {"base": say("coach_addresses.wrong_base")}), UNPROCESSABLE
        body = load(_NEW_ADDRESS, filled({n: answers.one(n) for n in ("purpose", "label")}))
    except InvalidInput as refused:
        return _page(answers, faults_of(refused)), UNPROCESSABLE
    purpose, label = Purpose(body["purpose"]), body.get("label")
    everybody = say("coach_forms.everybody")

    def make(transaction: Transaction) -> list[tuple[Athlete, NewAddress]]:
        chosen = chosen_of(choices(transaction, everybody), answers.one("who"))
        made = []
        for athlete in chosen.athletes:
            if answers.one("replace"):
                end_addresses(transaction, athlete.id, purpose, by=by, at=at)
            given = create_address(transaction, athlete.id, purpose, label, by=by, at=at)
            made.append((athlete, given))
        return made

    given = context().store.write(make)
    cards = [Card(athlete, _links(new, base)) for athlete, new in given]
    return render_template("coach/address_sheet.html", cards=cards, base=base, purpose=purpose)


@coach.post("/addresses/<address_id>/end")
def end_address(address_id: str) -> Any:
    """End an address for good."""
    by, at = caller().id, context().clock()
    context().store.write(lambda transaction: revoke_address(transaction, address_id, by=by, at=at))
    return redirect(url_for("coach.addresses", who=request.form.get("who") or None), SEE_OTHER)


def _is_base(text: str) -> bool:
    """Return whether a text says where a service is reached: a scheme and a host, no more."""
    try:
        parts = urlsplit(text)
        return parts.scheme in _SCHEMES and bool(parts.hostname) and not (parts.query or parts.path)
    except ValueError:
        return False


def _links(new: NewAddress, base: str) -> list[Link]:
    """List the ways that a new address opens; a program's has no code to scan."""
    links = []
    for path in paths_of(new.address.purpose, new.token):
        name = path.rpartition("/")[2].replace(".", "_")
        is_page = new.address.purpose is Purpose.CHECK_IN
        page = "check_in" if base else "check_in_uncoded"
        what = say(f"coach_addresses.for_{page if is_page else name}")
        scanned = base and name != "today_json"
        links.append(Link(what, base + path, _code(base + path) if scanned else None))
    return links


def _code(address: str) -> Markup:
    """Draw a QR code as an image inside the page; its lines are black on white in any scheme."""
    drawn = io.BytesIO()
    segno.make(address, error="m", micro=False).save(
        drawn, kind="svg", xmldecl=False, svgns=False, omitsize=True, border=4, light="#fff"
    )
    return Markup(drawn.getvalue().decode())


def _page(answers: Answers, faults: dict[str, str]) -> str:
    everybody, who = say("coach_forms.everybody"), request.values.get("who", "")

    def read(transaction: Transaction) -> tuple[list[Chosen], list[PrivateAddress]]:
        return choices(transaction, everybody), transaction.private_addresses.all()

    offered, known = context().store.read(read)
    chosen = chosen_of(offered, who)
    return render_template(
        "coach/addresses.html",
        offered=offered,
        chosen=chosen,
        lines=_lines(chosen.athletes, known),
        without=_without(chosen.athletes, known),
        asks_base=not context().settings.public_url,
        purposes=[(one.value, say(f"coach_addresses.purpose_{one.value}")) for one in Purpose],
        answers=answers,
        faults=faults,
    )


def _lines(athletes: Iterable[Athlete], known: Iterable[PrivateAddress]) -> list[Line]:
    working = [address for address in known if address.revoked_at is None]
    return [
        Line(athlete, address)
        for athlete in athletes
        for address in working
        if address.athlete_id == athlete.id
    ]


def _without(athletes: Iterable[Athlete], known: Iterable[PrivateAddress]) -> list[str]:
    """Name who cannot check in on a phone yet."""
    can = {
        address.athlete_id
        for address in known
        if address.purpose is Purpose.CHECK_IN and address.revoked_at is None
    }
    return [athlete.name for athlete in athletes if athlete.id not in can]
