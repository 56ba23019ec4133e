"""The check-in page: it takes what an athlete answers, and nothing they did not say."""

from __future__ import annotations

import re
from datetime import date
from html.parser import HTMLParser
from typing import Any

import pytest
from werkzeug.datastructures import MultiDict

from dawnrule.i18n.catalog import Texts
from dawnrule.model import Vocabulary
from dawnrule.model.entities import Athlete
from dawnrule.store import Store, new_token
from tests.conftest import Client, Clock
from tests.factories import EXAMPLE
from tests.web.conftest import Stored

SENT = {"date": "2026-03-09", "seen": "0", "plan": "off"}
"""The least that the page sends: a day off, with nothing answered."""

WELL = {"well": "yes"}
"""One control says: no pain, not ill, none of the signs."""

say = Texts.bundled().say

NOTHING = say("phone.plan_nothing")


def first_words(page: str) -> str:
    """The words that stand before all others in the answer, as they read."""
    heading = re.search(r'id="headline">(.*?)</h2>', page)
    assert heading
    return " ".join(re.sub(r"<[^>]+>", "", heading[1]).split())


def at(section: str) -> str:
    """How a section of the page is called where it is named."""
    return say(f"phone.at.{section}")


class Form(HTMLParser):
    """What a browser would send of a page without touching a control, and what the page says."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.sent: MultiDict[str, str] = MultiDict()
        self.ids: set[str] = set()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self._select = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        has = dict(attributes)
        self.tags.append((tag, has))
        self.ids |= {has["id"] or ""} if "id" in has else set()
        if tag == "select":
            self._select = has["name"] or ""
            self.sent[self._select] = ""
        elif tag == "option" and "selected" in has:
            self.sent[self._select] = has["value"] or ""
        elif tag == "input" and (has.get("type") not in ("radio", "checkbox") or "checked" in has):
            self.sent.add(has["name"] or "", has.get("value") or "")

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [has for name, has in self.tags if name == tag]


def test_every_control_starts_as_not_answered(client: Client, path: str) -> None:
    form = Form(client.get(path).text)
    asked = {name: form.sent.getlist(name) for name in form.sent if name not in ("date", "seen")}
    assert {answer for answers in asked.values() for answer in answers} == {""}
    assert {f"soreness/{group}" for group in Vocabulary.bundled().muscle_groups} <= set(asked)


def test_what_was_not_answered_is_not_zero(client: Client, path: str, stored: Stored) -> None:
    untouched = Form(client.get(path).text).sent
    untouched["plan"] = "off"
    assert client.post(path, data=untouched).status_code == 303
    assert stored().body == {"athlete_id": "a-03", "date": "2026-03-09", "plan": []}


def test_zero_is_an_answer(client: Client, path: str, stored: Stored) -> None:
    client.post(path, data=SENT | {"soreness/chest": "0", "fatigue": "0", "sleep/hours": "0"})
    body = stored().body
    assert body["soreness"] == {"chest": 0}
    assert (body["fatigue"], body["sleep"]) == (0, {"hours": 0.0})


def test_everything_that_can_be_answered_arrives(client: Client, path: str, stored: Stored) -> None:
    answers = SENT | {
        "plan": "own",
        "own/goal": "hypertrophy",
        "own/muscle_groups": ["quadriceps", "glutes"],
        "own/modality": "free-weights",
        "own/starts_at": "18:00",
        "soreness/quadriceps": "4",
        "sleep/hours": "6,5",
        "sleep/quality": "3",
        "fatigue": "4",
        "stress": "3",
        "pain": "some",
        "pain/0/where": "left knee",
        "pain/0/kind": "joint",
        "pain/0/muscle_groups": ["quadriceps"],
        "pain/1/where": "",
        "pain/1/kind": "",
        "illness": "none",
        "warning_signs": ["none"],
    }
    assert client.post(path, data=answers).status_code == 303
    assert stored().body == {
        "athlete_id": "a-03",
        "date": "2026-03-09",
        "sleep": {"hours": 6.5, "quality": 3},
        "soreness": {"quadriceps": 4},
        "fatigue": 4,
        "stress": 3,
        "pain": [{"where": "left knee", "kind": "joint", "muscle_groups": ["quadriceps"]}],
        "illness": "none",
        "warning_signs": [],
        "plan": [
            {
                "goal": "hypertrophy",
                "muscle_groups": ["quadriceps", "glutes"],
                "modality": "free-weights",
                "starts_at": "2026-03-09T18:00:00+01:00",
            }
        ],
    }
    assert stored().posted_by == "p-01"


def test_what_was_sent_fills_the_page_and_can_be_sent_again_unchanged(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE | {"warning_signs": ["fainting"]})
    form = Form(client.get(path).text)
    assert form.sent["soreness/quadriceps"] == "4"
    assert form.sent["sleep/hours"] == "6.5"
    assert form.sent.getlist("warning_signs") == ["fainting"]
    assert form.sent["pain/0/where"] == "left knee"
    assert form.sent["plan"] == "sent"
    assert client.post(path, data=form.sent).status_code == 303
    assert stored().revision == 1


def test_a_rating_between_two_is_kept_by_a_correction(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE | {"soreness": {"quadriceps": 4.5}})
    form = Form(client.get(path).text)
    assert form.sent["soreness/quadriceps"] == "4.5"
    form.sent["fatigue"] = "9"
    assert client.post(path, data=form.sent).status_code == 303
    assert (stored().body["soreness"], stored().body["fatigue"]) == ({"quadriceps": 4.5}, 9)


def test_the_same_answers_twice_are_one_check_in_and_others_correct_it(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    client.post(path, data=SENT | {"fatigue": "4"})
    client.post(path, data=SENT | {"fatigue": "4"})
    assert stored().revision == 1
    first = coach.get("/v1/athletes/a-03/advice/today").json["advice_id"]
    client.post(path, data=SENT | {"fatigue": "9"})
    assert (stored().revision, stored().body["fatigue"]) == (2, 9)
    assert coach.get("/v1/athletes/a-03/advice/today").json["advice_id"] != first


def test_what_the_page_does_not_ask_stays_when_it_corrects(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    coach.post("/v1/check-ins", json=EXAMPLE)
    form = Form(client.get(path).text)
    form.sent["fatigue"] = "9"
    client.post(path, data=form.sent)
    assert stored().body == EXAMPLE | {"fatigue": 9}


def test_the_advice_is_on_the_page_after_sending(client: Client, path: str) -> None:
    sent = client.post(path, data=SENT | {"warning_signs": ["chest-pain"]})
    assert (sent.status_code, sent.headers["Location"]) == (303, path)
    page = client.get(path).text
    assert page.index("Stop and get medical care now.") < page.index("<form")
    assert say("phone.sent_at", time="06:45") in page


def test_each_block_says_its_verdict_and_what_to_do_instead(
    coach: Client, client: Client, path: str
) -> None:
    plan = [{"goal": "hypertrophy", "muscle_groups": [group]} for group in ("quadriceps", "chest")]
    coach.put("/v1/athletes/a-03/plans/2026-03-09", json={"plan": plan})
    sore = {"soreness/quadriceps": "5", "soreness/chest": "0"}
    client.post(path, data=SENT | {"plan": "coach"} | sore)
    page = client.get(path).text
    assert "<strong>Growth work (quadriceps):</strong> Swap to low-damage work" in page
    assert "<strong>Growth work (chest):</strong> Train as planned" in page
    assert first_words(page) == (
        "Instead of growth work (quadriceps): steady endurance, swimming, 30 min, effort up to 3 "
        "of 10. Growth work (chest): train as planned."
    )
    assert say("phone.or_instead") in page
    assert page.count("steady endurance, walking, 30 min") == 1


def test_a_plan_by_pattern_gets_other_patterns_instead(
    coach: Client, client: Client, path: str
) -> None:
    plan = [{"goal": "hypertrophy", "pattern": "squat", "modality": "free-weights"}]
    coach.put("/v1/athletes/a-03/plans/2026-03-09", json={"plan": plan})
    client.post(path, data=SENT | {"plan": "coach", "soreness/quadriceps": "5"})
    assert "growth work, horizontal press" in client.get(path).text


def test_titles_carry_no_health_data_and_no_link_leads_away(client: Client, path: str) -> None:
    client.post(path, data=SENT | {"illness": "fever"})
    answer = client.get(path)
    assert f"<title>{say('phone.title')}</title>" in answer.text
    assert {link["href"] for link in Form(answer.text).all("a")} == {"#warning_signs"}
    assert "<script" not in answer.text


# The plan


def test_the_page_offers_the_coachs_plan_and_yesterdays(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    plan = [{"goal": "strength", "muscle_groups": ["chest"], "starts_at": "2026-03-09T17:00:00Z"}]
    coach.put("/v1/athletes/a-03/plans/2026-03-09", json={"plan": plan})
    yesterday = [{"goal": "mobility", "muscle_groups": ["lats"]}]
    before = {"athlete_id": "a-03", "date": "2026-03-08", "plan": yesterday}
    coach.post("/v1/check-ins", json=before)
    page = client.get(path).text
    assert Form(page).sent["plan"] == "coach", "what the coach plans needs no tap"
    assert "strength, chest, 18:00" in page
    client.post(path, data=SENT | WELL | {"plan": "yesterday"})
    assert stored().body["plan"] == yesterday
    client.post(path, data=SENT | WELL | {"plan": "coach"})
    assert stored().body["plan"] == [plan[0] | {"starts_at": "2026-03-09T17:00:00+00:00"}]


def test_muscle_groups_that_are_planned_are_asked_first(
    coach: Client, client: Client, path: str
) -> None:
    plan = [{"goal": "hypertrophy", "pattern": "squat"}]
    coach.put("/v1/athletes/a-03/plans/2026-03-09", json={"plan": plan})
    asked = list(
        dict.fromkeys(
            has["name"]
            for has in Form(client.get(path).text).all("input")
            if (has["name"] or "").startswith("soreness/")
        )
    )
    assert asked[:3] == ["soreness/glutes", "soreness/quadriceps", "soreness/adductors"]
    assert len(asked) == len(Vocabulary.bundled().muscle_groups)


def test_yesterdays_start_is_the_same_time_on_todays_clock(
    coach: Client, client: Client, path: str, clock: Clock, stored: Stored
) -> None:
    """Clocks in Berlin go forward in the night to 29 March 2026 (IANA time zone database)."""
    block = {"goal": "strength", "starts_at": "2026-03-28T18:00:00+01:00"}
    clock.set("2026-03-28T06:00:00+01:00")
    coach.post("/v1/check-ins", json={"athlete_id": "a-03", "date": "2026-03-28", "plan": [block]})
    clock.set("2026-03-29T07:00:00+02:00")
    client.post(path, data=WELL | {"plan": "yesterday"})
    [planned] = stored("2026-03-29").body["plan"]
    assert planned["starts_at"] == "2026-03-29T18:00:00+02:00"


def test_a_start_in_the_hour_that_clocks_skip_is_the_time_after_it(
    client: Client, path: str, clock: Clock, stored: Stored
) -> None:
    clock.set("2026-03-29T00:30:00+01:00")
    client.post(path, data={"plan": "own", "own/goal": "skill", "own/starts_at": "02:30"})
    [planned] = stored("2026-03-29").body["plan"]
    assert planned["starts_at"] == "2026-03-29T03:30:00+02:00"


def test_who_describes_a_session_need_not_say_that_it_is_their_own(
    client: Client, path: str, stored: Stored
) -> None:
    client.post(path, data=SENT | {"plan": "", "own/goal": "mobility"})
    assert stored().body["plan"] == [{"goal": "mobility"}]


# Which day it is


@pytest.mark.parametrize(
    ("now", "today"),
    [
        ("2026-03-09T22:59:00+00:00", "2026-03-09"),
        ("2026-03-09T23:00:00+00:00", "2026-03-10"),
        ("2026-03-28T22:59:59+00:00", "2026-03-28"),
        ("2026-03-28T23:00:00+00:00", "2026-03-29"),
        ("2026-03-29T21:59:59+00:00", "2026-03-29"),
        ("2026-03-29T22:00:00+00:00", "2026-03-30"),
        ("2026-10-25T22:59:59+00:00", "2026-10-25"),
        ("2026-10-25T23:00:00+00:00", "2026-10-26"),
    ],
)
def test_today_is_the_athletes(
    client: Client, path: str, clock: Clock, stored: Stored, now: str, today: str
) -> None:
    clock.set(now)
    sent = Form(client.get(path).text).sent
    assert sent["date"] == today
    sent["plan"] = "off"
    client.post(path, data=sent)
    assert stored(today).body["date"] == today


def test_a_page_that_was_open_at_midnight_is_looked_over_before_it_counts(
    client: Client, path: str, clock: Clock, store: Store, stored: Stored
) -> None:
    clock.set("2026-03-09T23:58:00+01:00")
    sent = Form(client.get(path).text).sent
    sent["plan"], sent["fatigue"] = "off", "7"
    clock.set("2026-03-10T00:02:00+01:00")
    refused = client.post(path, data=sent)
    assert refused.status_code == 422
    assert say("phone.wrong.new_day") in refused.text
    days = (date(2026, 3, 9), date(2026, 3, 10))
    assert store.read(lambda b: [b.check_ins.latest("a-03", day) for day in days]) == [None, None]
    again = Form(refused.text).sent
    assert (again["date"], again["fatigue"], again["plan"]) == ("2026-03-10", "7", "")
    again["plan"] = "off"
    assert client.post(path, data=again).status_code == 303
    assert stored("2026-03-10").body["fatigue"] == 7


def test_what_somebody_else_sent_meanwhile_is_not_lost(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    opened = Form(client.get(path).text).sent
    coach.post("/v1/check-ins", json=EXAMPLE)
    opened["plan"], opened["fatigue"] = "off", "7"
    refused = client.post(path, data=opened)
    assert refused.status_code == 422
    assert say("phone.wrong.newer") in refused.text
    assert stored().body == EXAMPLE
    merged = Form(refused.text).sent
    assert (merged["fatigue"], merged["stress"], merged["plan"]) == ("7", "3", "off")
    assert client.post(path, data=merged).status_code == 303
    assert stored().body == EXAMPLE | {"fatigue": 7, "plan": []}


def test_a_warning_sign_that_somebody_else_sent_is_not_covered_up(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    opened = Form(client.get(path).text).sent
    coach.post("/v1/check-ins", json=EXAMPLE | {"warning_signs": ["chest-pain"]})
    opened["plan"], opened["warning_signs"] = "off", "none"
    merged = Form(client.post(path, data=opened).text).sent
    assert merged.getlist("warning_signs") == ["chest-pain"]
    assert client.post(path, data=merged).status_code == 303
    assert stored().body["warning_signs"] == ["chest-pain"]


def test_what_stops_training_and_was_not_answered_is_named_beside_the_verdict(
    client: Client, path: str
) -> None:
    client.post(path, data=SENT | {"illness": "none"})
    left_open = say("left_open.sentence", what="warning signs and pain")
    assert left_open in client.get(path).text
    client.post(path, data=SENT | {"illness": "none", "pain": "none", "warning_signs": "none"})
    assert "The advice does not know how that is today." not in client.get(path).text


def test_what_to_do_about_what_was_not_answered_is_said_once_to_who_may_train(
    coach: Client, client: Client, path: str
) -> None:
    """First of all, before "train as planned"; neither below it nor for each part again."""
    plan = [{"goal": "strength", "muscle_groups": ["chest", "lats"]}]
    day = {"athlete_id": "a-03", "date": "2026-03-09", "plan": plan, "illness": "none"}
    coach.post("/v1/check-ins", json=day)
    page = client.get(path).text
    not_answered = "Not answered: warning signs and pain. If you have any, do not train."
    assert first_words(page) == not_answered
    assert "<p>Train as planned: strength.</p>" in page
    assert page.count(not_answered) == 1
    assert page.count("Stop if you feel pain") == 1


def test_one_control_answers_pain_illness_and_signs_with_none(
    client: Client, path: str, stored: Stored
) -> None:
    client.post(path, data=SENT | WELL)
    assert {name: stored().body[name] for name in ("pain", "illness", "warning_signs")} == {
        "pain": [],
        "illness": "none",
        "warning_signs": [],
    }


@pytest.mark.parametrize(
    "answers",
    [
        {"illness": "fever"},
        {"pain": "some", "pain/0/where": "knee", "pain/0/kind": "joint"},
        {"pain/0/where": "knee", "pain/0/kind": "joint"},
    ],
)
def test_whoever_says_that_all_is_well_and_something_else_is_asked_which_is_right(
    client: Client, path: str, store: Store, answers: dict[str, str]
) -> None:
    refused = client.post(path, data=SENT | WELL | answers)
    assert refused.status_code == 422
    assert say("phone.wrong.well_and_not") in refused.text
    assert store.read(lambda b: b.check_ins.latest("a-03", date(2026, 3, 9))) is None


def test_a_warning_sign_counts_whatever_the_one_control_says(
    client: Client, path: str, stored: Stored
) -> None:
    assert client.post(path, data=SENT | WELL | {"warning_signs": "fainting"}).status_code == 303
    least = {"athlete_id": "a-03", "date": "2026-03-09", "plan": []}
    assert stored().body == least | {"warning_signs": ["fainting"]}


def test_sent_with_nothing_answered_it_asks(
    coach: Client, client: Client, path: str, store: Store
) -> None:
    plan = [{"goal": "strength", "muscle_groups": ["chest"]}]
    coach.put("/v1/athletes/a-03/plans/2026-03-09", json={"plan": plan})
    refused = client.post(path, data=Form(client.get(path).text).sent)
    assert refused.status_code == 422
    assert say("phone.wrong.nothing") in refused.text
    assert "Train as planned" not in refused.text
    assert store.read(lambda b: b.check_ins.latest("a-03", date(2026, 3, 9))) is None


# What stops training is taken, whatever is wrong with the rest


def test_with_a_warning_sign_the_page_says_what_to_do_now_and_nothing_of_the_plan(
    coach: Client, client: Client, path: str
) -> None:
    plan = [{"goal": "strength", "muscle_groups": ["chest"]}]
    coach.put("/v1/athletes/a-03/plans/2026-03-09", json={"plan": plan})
    client.post(path, data=SENT | {"plan": "coach", "warning_signs": "fainting"})
    page = client.get(path).text
    assert first_words(page) == "Stop and get medical care now."
    answer = page[page.index('id="advice"') : page.index("</section>")]
    order = ["Call the emergency number", say("phone.emergency_numbers"), "fainted, or nearly"]
    assert [answer.index(said) for said in order] == sorted(answer.index(said) for said in order)
    for unsaid in ("strength", "hest", "palpitations", "out of breath"):
        assert unsaid not in answer
    assert "<details>" in page[: page.index("<form")], "the form is folded away"


def test_a_warning_sign_is_taken_when_nothing_else_is_answered(
    client: Client, path: str, stored: Stored
) -> None:
    untouched = Form(client.get(path).text).sent
    untouched["warning_signs"] = "fainting"
    sent = client.post(path, data=untouched)
    assert sent.status_code == 303
    body = stored().body
    assert (body["warning_signs"], body["plan"]) == (["fainting"], [])
    assert path.split("/")[2] not in sent.headers["Location"].partition("?")[2]


def test_with_a_warning_sign_the_coachs_plan_stands_in_for_none(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    plan = [{"goal": "strength", "muscle_groups": ["chest"]}]
    coach.put("/v1/athletes/a-03/plans/2026-03-09", json={"plan": plan})
    client.post(path, data=SENT | {"plan": "", "warning_signs": "chest-pain"})
    assert stored().body["plan"] == plan


def test_none_of_these_does_not_count_beside_a_warning_sign(
    client: Client, path: str, stored: Stored
) -> None:
    sent = client.post(path, data=SENT | {"warning_signs": ["chest-pain", "none"]})
    assert (sent.status_code, sent.headers["Location"]) == (303, path)
    assert stored().body["warning_signs"] == ["chest-pain"]


@pytest.mark.parametrize(
    ("answers", "kept", "named"),
    [
        ({"sleep/hours": "lots", "sleep/quality": "4"}, {"sleep": {"quality": 4}}, ["sleep"]),
        ({"soreness/chest": "11", "soreness/lats": "2"}, {"soreness": {"lats": 2}}, ["soreness"]),
        ({"illness": "cold", "fatigue": "x", "stress": "3"}, {"stress": 3}, ["fatigue", "illness"]),
        ({"plan": "own"}, {}, ["plan"]),
        ({"plan": "coach"}, {}, ["plan"]),
        ({"plan": "own", "own/goal": "skill", "own/starts_at": "noon"}, {}, ["plan"]),
        ({"own/goal": "skill"}, {}, ["plan"]),
        ({"pain": "some"}, {}, ["pain"]),
        ({"pain": "none", "pain/0/where": "knee"}, {}, ["pain"]),
        (
            {"pain": "none", "pain/0/where": "knee", "pain/0/kind": "joint"},
            {"pain": [{"where": "knee", "kind": "joint"}]},
            [],
        ),
        (
            {"pain/0/where": "knee", "pain/1/where": "hip", "pain/1/kind": "joint"},
            {"pain": [{"where": "hip", "kind": "joint"}]},
            ["pain"],
        ),
        ({"warning_signs": ["chest-pain", "hiccups"]}, {}, []),
        ({"pain": "maybe"}, {}, ["pain"]),
    ],
)
def test_with_a_warning_sign_what_cannot_be_read_is_left_out_and_named(
    client: Client,
    path: str,
    stored: Stored,
    answers: dict[str, Any],
    kept: dict[str, Any],
    named: list[str],
) -> None:
    sent = client.post(path, data=SENT | {"warning_signs": ["chest-pain"]} | answers)
    assert sent.status_code == 303
    least = {"athlete_id": "a-03", "date": "2026-03-09", "plan": []}
    assert stored().body == least | {"warning_signs": ["chest-pain"]} | kept
    page = client.get(sent.headers["Location"]).text
    assert first_words(page) == "Stop and get medical care now."
    assert [name for name in named if f"<li>{at(name)}</li>" not in page] in ([], ["plan"])
    assert ('class="left-out"' in page) == any(name != "plan" for name in named)


def test_a_warning_sign_from_before_midnight_is_taken_alone_for_the_new_day(
    client: Client, path: str, clock: Clock, stored: Stored
) -> None:
    typed = {"plan": "off", "fatigue": "7", "warning_signs": "chest-pain"}
    clock.set("2026-03-10T00:02:00+01:00")
    sent = client.post(path, data=SENT | typed)
    assert sent.status_code == 303
    least = {"athlete_id": "a-03", "date": "2026-03-10", "plan": []}
    assert stored("2026-03-10").body == least | {"warning_signs": ["chest-pain"]}
    assert f"<li>{at('fatigue')}</li>" in client.get(sent.headers["Location"]).text


def test_a_warning_sign_joins_what_somebody_else_sent_meanwhile(
    coach: Client, client: Client, path: str, stored: Stored
) -> None:
    opened = Form(client.get(path).text).sent
    coach.post("/v1/check-ins", json=EXAMPLE)
    opened["warning_signs"], opened["fatigue"] = "fainting", "7"
    assert client.post(path, data=opened).status_code == 303
    assert stored().body == EXAMPLE | {"warning_signs": ["fainting"], "fatigue": 7}


def test_a_warning_sign_is_taken_alone_when_what_is_stored_cannot_be_any_more(
    coach: Client, client: Client, path: str, clock: Clock, stored: Stored
) -> None:
    """What was trained this morning was not trained yet when the clock is put back."""
    later = {"quadriceps": {"at": "2026-03-09T06:44:00+01:00", "goal": "strength"}}
    coach.post("/v1/check-ins", json=EXAMPLE | {"last_trained": later})
    clock.set("2026-03-09T03:00:00+01:00")
    form = Form(client.get(path).text).sent
    form["warning_signs"] = "fainting"
    assert client.post(path, data=form).status_code == 303
    least = {"athlete_id": "a-03", "date": "2026-03-09", "plan": []}
    assert stored().body == least | {"warning_signs": ["fainting"]}


@pytest.mark.parametrize(
    "answers",
    [
        {"illness": "fever"},
        {"illness": "below-neck"},
        {"pain": "some", "pain/0/where": "knee", "pain/0/kind": "joint"},
    ],
)
def test_who_is_ill_or_in_pain_need_not_say_what_is_planned(
    client: Client, path: str, stored: Stored, answers: dict[str, str]
) -> None:
    sent = client.post(path, data=SENT | {"plan": ""} | answers)
    assert sent.status_code == 303
    assert stored().body["plan"] == []
    assert say("phone.plan_taken", plan=NOTHING) in client.get(sent.headers["Location"]).text


def test_only_sections_of_the_page_are_named_as_left_out(client: Client, path: str) -> None:
    client.post(path, data=SENT)
    page = client.get(f"{path}?left_out=you-are-well&left_out=<b>").text
    assert 'class="left-out"' not in page
    assert "you-are-well" not in page


# How the page opens


def test_without_a_plan_the_muscles_are_folded_away(client: Client, path: str) -> None:
    assert [has for has in Form(client.get(path).text).all("details") if "open" in has] == []


def test_an_answer_that_is_described_below_says_where(client: Client, path: str) -> None:
    page = client.get(path).text
    for asked, below in (("plans.own", "own"), ("pain_some", "pain_describe")):
        assert say(f"phone.{asked}", below=say(f"phone.{below}")) in page
        assert f"<summary>{say(f'phone.{below}')}</summary>" in page


def test_the_page_says_whose_it_is_by_first_name_and_not_in_the_title(
    client: Client, path: str, store: Store
) -> None:
    athlete = Athlete("a-03", "Mara Musterfrau", "Europe/Berlin")
    store.write(lambda transaction: transaction.athletes.put(athlete))
    page = client.get(path).text
    assert say("phone.whose", name="Mara") in page
    assert "Musterfrau" not in page
    assert "Mara" not in page[: page.index("<body>")]


# What is wrong


@pytest.mark.parametrize(
    ("answers", "control", "sentence"),
    [
        ({"sleep/hours": "lots"}, "sleep/hours", "sleep_hours"),
        ({"sleep/hours": "25"}, "sleep/hours", "sleep_hours"),
        ({"sleep/hours": "-1"}, "sleep/hours", "sleep_hours"),
        ({"sleep/hours": "7:60"}, "sleep/hours", "sleep_hours"),
        ({"sleep/hours": "7 min 30"}, "sleep/hours", "sleep_hours"),
        ({"sleep/hours": "\u0667"}, "sleep/hours", "sleep_hours"),
        ({"sleep/hours": ["8", "7:20"]}, "sleep/hours", "sleep_twice"),
        ({"sleep/quality": "6"}, "sleep/quality", "choice"),
        ({"soreness/chest": "11"}, "soreness/chest", "choice"),
        ({"fatigue": "10.5"}, "fatigue", "choice"),
        ({"stress": "a lot"}, "stress", "choice"),
        ({"illness": "cold"}, "illness", "choice"),
        ({"warning_signs": ["hiccups"]}, "warning_signs", "choice"),
        ({"pain": "some"}, "pain/0/where", "pain_where"),
        ({"pain": "some", "pain/0/where": "knee"}, "pain/0/kind", "pain_kind"),
        ({"pain/0/where": "k" * 101, "pain/0/kind": "joint"}, "pain/0/where", "pain_where"),
        ({"pain/0/where": "k\x07", "pain/0/kind": "joint"}, "pain/0/where", "pain_where"),
        (
            {"pain": "none", "pain/0/where": "knee", "pain/0/kind": "joint"},
            "pain",
            "pain_and_none",
        ),
        ({"pain": "maybe"}, "pain", "choice"),
        ({"plan": ""}, "plan", "plan_missing"),
        ({"plan": "coach"}, "plan", "choice"),
        ({"plan": "off", "own/goal": "skill"}, "plan", "plan_twice"),
        ({"plan": "own"}, "own/goal", "own_goal"),
        ({"plan": "own", "own/goal": "fun"}, "own/goal", "own_goal"),
        (
            {"plan": "own", "own/goal": "skill", "own/starts_at": "noon"},
            "own/starts_at",
            "own_time",
        ),
        (
            {"plan": "own", "own/goal": "skill", "own/modality": "skiing"},
            "own/modality",
            "choice",
        ),
        (
            {"plan": "own", "own/goal": "skill", "own/muscle_groups": ["wing"]},
            "own/muscle_groups",
            "choice",
        ),
    ],
)
def test_what_is_wrong_is_said_at_its_control_and_nothing_is_stored(
    client: Client, path: str, store: Store, answers: dict[str, Any], control: str, sentence: str
) -> None:
    refused = client.post(path, data=SENT | answers)
    assert refused.status_code == 422
    assert store.read(lambda b: b.check_ins.latest("a-03", date(2026, 3, 9))) is None
    form, name = Form(refused.text), control.replace("/", "-")
    assert f"#{name}" in [link["href"] for link in form.all("a")], "the summary leads to it"
    assert {name, f"fault-{name}"} <= form.ids
    described = [has["aria-describedby"] for _, has in form.tags if has.get("aria-describedby")]
    assert any(f"fault-{name}" in (ids or "").split() for ids in described)
    assert say(f"phone.wrong.{sentence}") in refused.text
    assert "autofocus" in refused.text


def test_everything_that_is_wrong_is_said_at_once_and_what_was_typed_is_kept(
    client: Client, path: str
) -> None:
    typed = {"sleep/hours": "lots <b>", "soreness/lats": "11", "plan": "", "stress": "3"}
    refused = client.post(path, data=SENT | typed)
    form = Form(refused.text)
    wrong = {id_.removeprefix("fault-") for id_ in form.ids if id_.startswith("fault-")}
    assert wrong == {"sleep-hours", "soreness-lats", "plan"}
    assert form.sent.getlist("sleep/hours") == ["", "lots <b>"]
    assert form.sent["stress"] == "3"
    assert "<b>" not in refused.text


def test_pains_are_kept_in_a_row_when_one_in_between_is_left_out(
    client: Client, path: str, stored: Stored
) -> None:
    pains = {"pain/0/where": " ", "pain/1/where": "left knee", "pain/1/kind": "joint"}
    client.post(path, data=SENT | pains)
    assert stored().body["pain"] == [{"where": "left knee", "kind": "joint"}]


# Who may send


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 303),
        ({"Origin": "http://localhost"}, 303),
        ({"Origin": "null", "Sec-Fetch-Site": "same-origin"}, 303),
        ({"Origin": "https://elsewhere.example"}, 403),
        ({"Origin": "http://["}, 403),
        ({"Origin": "null", "Sec-Fetch-Site": "cross-site"}, 403),
        ({"Sec-Fetch-Site": "same-site"}, 403),
    ],
)
def test_a_form_on_another_site_cannot_send(
    client: Client, path: str, headers: dict[str, str], status: int
) -> None:
    assert client.post(path, data=SENT, headers=headers).status_code == status


def test_nobody_can_frame_the_page_or_send_its_form_elsewhere(client: Client, path: str) -> None:
    answer = client.get(path)
    policy = answer.headers["Content-Security-Policy"].split("; ")
    assert {"default-src 'none'", "frame-ancestors 'none'", "form-action 'self'"} <= set(policy)
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert answer.headers["X-Robots-Tag"] == "noindex"
    assert answer.headers["Referrer-Policy"] == "no-referrer"


def test_an_address_that_does_not_work_says_so_to_a_person(
    client: Client, store: Store, path: str, clock: Clock
) -> None:
    unknown = client.get(f"/check-in/{new_token()}")
    store.write(lambda transaction: transaction.private_addresses.revoke("p-01", clock()))
    for answer in (unknown, client.get(path), client.post(path, data=SENT)):
        assert answer.status_code == 404
        assert answer.mimetype == "text/html"
        assert say("phone.problem.404") in answer.text
        assert path.split("/")[2] not in answer.text


def test_more_text_than_a_check_in_has_is_refused_in_words(client: Client, path: str) -> None:
    refused = client.post(path, data=SENT | {"pain/0/where": "k" * 1_100_000})
    assert refused.status_code == 413
    assert say("phone.problem.413") in refused.text
