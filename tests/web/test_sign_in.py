"""Sign-in to the coach's pages, and what a browser keeps of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from dawnrule.advice.advisor import Advisor
from dawnrule.settings import Settings
from dawnrule.store import Key, Role, Store, Transaction, hash_key
from dawnrule.web import create_app
from dawnrule.web.context import Context
from tests.conftest import Client, Clock, MakeKey

SIGN_IN = "/coach/sign-in"
COOKIE = "dawnrule_coach"


Serve = Callable[[Store], Flask]


@pytest.fixture
def serve(
    settings: Settings, advisor: Advisor, clock: Clock, new_id: Callable[[], str]
) -> Iterator[Serve]:
    """Another process of the service, over a store that is given."""
    with ExitStack() as ends:

        def another(store: Store) -> Flask:
            app = create_app(settings, store, advisor, clock, new_id)
            ends.callback(Context.of(app).close)
            return app

        yield another


@pytest.fixture
def browser(app: Flask, squad: object) -> Client:
    """A browser that nobody has signed in with."""
    return app.test_client()


def token_of(page: Any) -> str:
    """The token in the first form of a page."""
    found = re.search(r'name="csrf_token" value="([^"]+)"', page.text)
    assert found is not None
    return found[1]


def sign_in(browser: Client, key: str, **more: str) -> Any:
    """Fill in the form for the key and send it."""
    token = token_of(browser.get(SIGN_IN))
    return browser.post(SIGN_IN, data={"csrf_token": token, "key": key, **more})


def is_signed_in(browser: Client) -> bool:
    status = browser.get("/coach/").status_code
    assert status in (200, 302)
    return bool(status == 200)


def test_a_coachs_key_opens_the_pages(browser: Client, coach_key: str) -> None:
    answer = sign_in(browser, coach_key)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/coach/")
    assert is_signed_in(browser)


def test_a_key_pasted_with_blanks_around_it_is_taken(browser: Client, coach_key: str) -> None:
    sign_in(browser, f" {coach_key}\n")
    assert is_signed_in(browser)


def test_all_keys_but_a_coachs_are_refused_in_the_same_words(
    browser: Client, make_key: MakeKey, store: Store, clock: Clock
) -> None:
    revoked = make_key(Role.COACH)
    key = store.read(lambda transaction: transaction.keys.by_hash(hash_key(revoked)))
    assert key is not None
    store.write(lambda transaction: transaction.keys.revoke(key.id, clock()))
    others = [make_key(Role.POSTER), make_key(Role.ATHLETE, "a-03"), revoked, "dawn_wrong", ""]
    answers = [sign_in(browser, other) for other in others]
    assert {answer.status_code for answer in answers} == {403}
    assert len({re.sub(r'value="[^"]*"', "", answer.text) for answer in answers}) == 1
    assert not is_signed_in(browser)


def test_the_page_that_refuses_names_what_is_wrong(browser: Client) -> None:
    text = sign_in(browser, "dawn_wrong").text
    assert 'aria-invalid="true"' in text
    assert 'aria-describedby="key-hint key-refused"' in text
    assert 'id="key-refused"' in text
    assert "dawn_wrong" not in text, "what was typed is not repeated"


def test_a_form_without_its_token_is_refused(browser: Client, coach_key: str) -> None:
    browser.get(SIGN_IN)
    assert browser.post(SIGN_IN, data={"key": coach_key}).status_code == 400
    assert not is_signed_in(browser)


def test_a_form_with_the_token_of_another_browser_is_refused(
    app: Flask, browser: Client, coach_key: str
) -> None:
    token = token_of(app.test_client().get(SIGN_IN))
    browser.get(SIGN_IN)
    answer = browser.post(SIGN_IN, data={"csrf_token": token, "key": coach_key})
    assert answer.status_code == 400
    assert not is_signed_in(browser)


def test_signing_out_needs_the_token_too(browser: Client, coach_key: str) -> None:
    sign_in(browser, coach_key)
    assert browser.post("/coach/sign-out").status_code == 400
    assert is_signed_in(browser)


def test_who_signs_out_is_out(browser: Client, coach_key: str) -> None:
    sign_in(browser, coach_key)
    token = token_of(browser.get("/coach/"))
    answer = browser.post("/coach/sign-out", data={"csrf_token": token})
    assert (answer.status_code, answer.headers["Location"]) == (303, SIGN_IN)
    assert not is_signed_in(browser)


def sign_out(browser: Client) -> Any:
    return browser.post("/coach/sign-out", data={"csrf_token": token_of(browser.get("/coach/"))})


def copied(browser: Any, app: Flask) -> Any:
    """Another browser that holds a copy of this one's cookie."""
    copy = app.test_client()
    copy.set_cookie(COOKIE, browser.get_cookie(COOKIE, path="/coach").value, path="/coach")
    return copy


def test_a_copied_cookie_ends_with_the_sign_out(
    app: Flask, browser: Client, coach_key: str
) -> None:
    sign_in(browser, coach_key)
    copy = copied(browser, app)
    assert is_signed_in(copy)
    sign_out(browser)
    assert not is_signed_in(copy)


def test_a_sign_out_leaves_the_coachs_other_browsers_signed_in(
    app: Flask, browser: Client, coach_key: str
) -> None:
    another = app.test_client()
    sign_in(browser, coach_key)
    sign_in(another, coach_key)
    sign_out(browser)
    assert is_signed_in(another)


def test_whoever_signs_in_anew_ends_the_sign_in_before(
    app: Flask, browser: Client, coach_key: str
) -> None:
    sign_in(browser, coach_key)
    copy = copied(browser, app)
    token = token_of(browser.get("/coach/"))
    browser.post(SIGN_IN, data={"csrf_token": token, "key": coach_key})
    assert is_signed_in(browser)
    assert not is_signed_in(copy)


def test_a_sign_out_counts_in_every_process(
    browser: Client, coach_key: str, store: Store, serve: Serve
) -> None:
    sign_in(browser, coach_key)
    with Store.open(store.file) as same:
        another = serve(same)
        there, stays = copied(browser, another), copied(browser, another)
        assert is_signed_in(there)
        sign_out(there)
        assert not is_signed_in(stays)
        assert not is_signed_in(browser)


def test_a_cookie_that_names_a_key_and_no_sign_in_opens_nothing(
    app: Flask, coach_key: str, clock: Clock
) -> None:
    """As the versions before gave them: nothing could end these."""
    cookies: Any = app.session_interface
    key_id = f"key-{hash_key(coach_key)[:8]}"
    held = {"key": key_id, "since": clock().timestamp()}
    old: Any = app.test_client()
    old.set_cookie(COOKIE, cookies.get_signing_serializer(app).dumps(held), path="/coach")
    assert not is_signed_in(old)


def test_sign_ins_that_are_over_are_swept(
    app: Flask, browser: Client, coach_key: str, store: Store, clock: Clock
) -> None:
    for _ in range(3):
        sign_in(app.test_client(), coach_key)
    assert sign_ins(store) == 3
    clock.set("2026-03-09T18:45:00+01:00")
    sign_in(browser, coach_key)
    assert sign_ins(store) == 1
    sign_out(browser)
    assert sign_ins(store) == 0


def sign_ins(store: Store) -> int:
    """How many are remembered."""

    def count(transaction: Transaction) -> int:
        [(found,)] = transaction.sign_ins.connection.execute("SELECT count(*) FROM sign_ins")
        return int(found)

    return store.read(count)


def test_a_sign_in_cannot_be_made_of_what_is_stored_of_it(
    app: Flask, browser: Any, coach_key: str, store: Store
) -> None:
    """A back-up has the secret that signs cookies too."""
    sign_in(browser, coach_key)
    cookies: Any = app.session_interface
    cookie = browser.get_cookie(COOKIE, path="/coach").value
    held = cookies.get_signing_serializer(app).loads(cookie)["sign_in"]
    for file in store.file.parent.iterdir():
        assert held.encode() not in file.read_bytes(), file


def test_nothing_of_the_browser_from_before_is_signed_in_afterwards(
    app: Flask, browser: Any, coach_key: str
) -> None:
    """Who planted a cookie before the sign-in (session fixation) has nothing in hand after it."""
    planted: Any = app.test_client()
    token = token_of(planted.get(SIGN_IN))
    cookie = planted.get_cookie(COOKIE, path="/coach").value
    browser.set_cookie(COOKIE, cookie, path="/coach")
    browser.post(SIGN_IN, data={"csrf_token": token, "key": coach_key})
    assert is_signed_in(browser)
    assert not is_signed_in(planted)
    assert browser.post("/coach/sign-out", data={"csrf_token": token}).status_code == 400


def test_a_key_that_is_revoked_ends_its_sessions_at_once(
    browser: Client, coach_key: str, store: Store, clock: Clock
) -> None:
    sign_in(browser, coach_key)
    key = store.read(lambda transaction: transaction.keys.by_hash(hash_key(coach_key)))
    assert key is not None
    store.write(lambda transaction: transaction.keys.revoke(key.id, clock()))
    assert not is_signed_in(browser)


def test_a_session_ends_after_twelve_hours(browser: Client, coach_key: str, clock: Clock) -> None:
    sign_in(browser, coach_key)
    clock.set("2026-03-09T18:44:59+01:00")
    assert is_signed_in(browser)
    clock.set("2026-03-09T18:45:00+01:00")
    assert not is_signed_in(browser)


def test_a_session_from_the_future_is_none(browser: Client, coach_key: str, clock: Clock) -> None:
    sign_in(browser, coach_key)
    clock.set("2026-03-09T06:44:59+01:00")
    assert not is_signed_in(browser)


@pytest.mark.parametrize(
    ("base_url", "is_secure"),
    [
        ("http://127.0.0.1:8080", False),
        ("http://localhost", False),
        ("http://[::1]:8080", False),
        ("https://localhost", True),
        ("http://coach.example", True),
        ("http://127.0.0.1.coach.example", True),
        ("https://coach.example:8443", True),
    ],
)
def test_the_cookie_is_for_these_pages_and_for_no_script(
    browser: Client, base_url: str, is_secure: bool
) -> None:
    cookie = browser.get(SIGN_IN, base_url=base_url).headers["Set-Cookie"]
    flags = {flag.strip() for flag in cookie.split(";")[1:]}
    assert cookie.startswith(f"{COOKIE}=")
    assert {"HttpOnly", "Path=/coach", "SameSite=Lax"} <= flags
    assert ("Secure" in flags) is is_secure


def test_the_cookie_holds_no_key(browser: Any, app: Flask, coach_key: str) -> None:
    sign_in(browser, coach_key)
    cookie = browser.get_cookie(COOKIE, path="/coach").value
    session: Any = app.session_interface
    held = session.get_signing_serializer(app).loads(cookie)
    assert set(held) <= {"sign_in", "csrf_token"}
    assert coach_key not in str(held)
    assert hash_key(coach_key) not in str(held)


def test_a_cookie_that_was_changed_opens_nothing(browser: Any, coach_key: str) -> None:
    sign_in(browser, coach_key)
    body, _, seal = browser.get_cookie(COOKIE, path="/coach").value.partition(".")
    browser.set_cookie(COOKIE, f"{body[:-1]}A.{seal}", path="/coach")
    assert not is_signed_in(browser)


def test_a_cookie_does_not_open_the_interface(browser: Client, coach_key: str) -> None:
    sign_in(browser, coach_key)
    assert browser.get("/v1/athletes").status_code == 401


def test_a_key_sent_along_does_not_open_the_pages(coach: Client) -> None:
    answer = coach.get("/coach/")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/coach/sign-in?next=/coach/")


def test_after_the_sign_in_comes_the_page_that_was_asked_for(
    browser: Client, coach_key: str
) -> None:
    to_sign_in = browser.get("/coach/athletes/a-03?days=7").headers["Location"]
    assert to_sign_in == "/coach/sign-in?next=/coach/athletes/a-03?days%3D7"
    form = browser.get(to_sign_in).text
    assert 'name="next" value="/coach/athletes/a-03?days=7"' in form
    answer = sign_in(browser, coach_key, next="/coach/athletes/a-03?days=7")
    assert answer.headers["Location"] == "/coach/athletes/a-03?days=7"


@pytest.mark.parametrize(
    "elsewhere",
    [
        "https://elsewhere.example/",
        "//elsewhere.example/",
        "/\\elsewhere.example",
        "/coach/\\elsewhere.example",
        "/coach.elsewhere.example",
        "/v1/athletes",
        "javascript:alert(1)",
        "/coach/\r\nX-Header: 1",
        "",
    ],
)
def test_nobody_is_led_away_after_the_sign_in(
    browser: Client, coach_key: str, elsewhere: str
) -> None:
    answer = sign_in(browser, coach_key, next=elsewhere)
    assert (answer.status_code, answer.headers["Location"]) == (303, "/coach/")


def test_who_is_signed_in_is_not_asked_again(browser: Client, coach_key: str) -> None:
    sign_in(browser, coach_key)
    answer = browser.get(f"{SIGN_IN}?next=/coach/rules")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/coach/rules")


@pytest.mark.parametrize("page", [SIGN_IN, "/coach/", "/coach/nowhere"])
def test_a_page_loads_nothing_from_outside_and_is_not_kept(
    browser: Client, coach_key: str, page: str
) -> None:
    if page != SIGN_IN:
        sign_in(browser, coach_key)
    headers = browser.get(page).headers
    assert headers["Content-Security-Policy"] == (
        "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    )
    assert headers["Cache-Control"] == "no-store"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["X-Content-Type-Options"] == "nosniff"


def test_a_page_that_is_not_there_says_so_as_a_page(browser: Client, coach_key: str) -> None:
    sign_in(browser, coach_key)
    answer = browser.get("/coach/nowhere")
    assert (answer.status_code, answer.mimetype) == (404, "text/html")
    assert "/coach/nowhere" in answer.text
    assert answer.headers["X-Request-Id"] in answer.text


def test_a_restart_signs_nobody_out(
    browser: Client, coach_key: str, store: Store, serve: Serve
) -> None:
    sign_in(browser, coach_key)
    assert is_signed_in(copied(browser, serve(store)))


def test_another_services_cookie_opens_nothing(
    browser: Client, coach_key: str, clock: Clock, tmp_path: Path, serve: Serve
) -> None:
    sign_in(browser, coach_key)
    with Store.open(tmp_path / "another.db") as store:
        at = clock()
        key_id = f"key-{hash_key(coach_key)[:8]}"
        store.write(lambda b: b.keys.add(Key(key_id, Role.COACH, None, None, at), "same id"))
        assert not is_signed_in(copied(browser, serve(store)))
