"""Who trains? The squad, one athlete, and the erasing of a person."""

from __future__ import annotations

from flask import Response

from dawnrule.advice.erasure import erase
from dawnrule.advice.morning import known_athlete
from dawnrule.advice.squad import put_athlete as put
from dawnrule.facts.check_in import Athlete
from dawnrule.facts.plausible import implausible_athlete
from dawnrule.schemas.athlete import (
    ATHLETE,
    ErasedSchema,
    SquadSchema,
    athlete_to_plain,
    identified,
)
from dawnrule.schemas.field_errors import invalid_input
from dawnrule.web.access import caller
from dawnrule.web.answers import json_answer
from dawnrule.web.incoming import ATHLETE_ID, Blueprint
from dawnrule.web.service import service

athletes = Blueprint("athletes", __name__, url_prefix="/v1", description="Who trains.")


@athletes.route("/athletes")
@athletes.response(200, SquadSchema)
def list_athletes() -> Response:
    """Everybody, in the order of their ids."""
    squad = service().store.read(lambda books: books.athletes.all())
    return json_answer({"athletes": [athlete_to_plain(athlete) for athlete in squad]})


@athletes.route("/athletes/<athlete_id>", methods=["PUT"], parameters=[ATHLETE_ID])
@athletes.arguments(ATHLETE)
@athletes.response(200, ATHLETE, description="Replaced.")
@athletes.alt_response(201, schema=ATHLETE, description="Created.")
def put_athlete(body: Athlete, athlete_id: str) -> Response:
    """Create an athlete, or replace what is known of them."""
    athlete = identified(body, athlete_id)
    faults = list(implausible_athlete(athlete, service().clock()))
    if faults:
        raise invalid_input(faults)
    by, at = caller().id, service().clock()
    created = service().store.write(lambda books: put(books, athlete, by=by, at=at))
    return json_answer(athlete_to_plain(athlete), 201 if created else 200)


@athletes.route("/athletes/<athlete_id>", parameters=[ATHLETE_ID])
@athletes.response(200, ATHLETE)
@athletes.alt_response(404, "NOT_FOUND")
def get_athlete(athlete_id: str) -> Response:
    """One athlete."""
    athlete = service().store.read(lambda books: known_athlete(books, athlete_id))
    return json_answer(athlete_to_plain(athlete))


@athletes.route("/athletes/<athlete_id>", methods=["DELETE"], parameters=[ATHLETE_ID])
@athletes.response(200, ErasedSchema)
@athletes.alt_response(404, "NOT_FOUND")
def erase_athlete(athlete_id: str) -> Response:
    """Erase a person and all that is known of them: check-ins, advice, sessions, plans, keys and
    private addresses.

    The entries of their advice stay in the ledger, with digests of what nobody has any more.
    """
    its = service()
    erased = erase(its.store, athlete_id, by=caller().id, at=its.clock())
    return json_answer(erased.to_plain())
