"""The documentation pages: readable without the internet, and harmless."""

from __future__ import annotations

import re

import pytest
from flask import Flask

from dawnrule.web.openapi import document
from tests.conftest import Client

PAGES = ["/", "/docs", "/problems/invalid-input"]


@pytest.mark.parametrize("page", PAGES)
def test_a_page_needs_nothing_from_outside(client: Client, page: str) -> None:
    text = client.get(page).text
    loaded = re.findall(r'(?:src|href|action)="([^"]*)"', text)
    assert loaded
    assert all(address.startswith(("/", "#")) for address in loaded)
    assert not any(address.startswith("//") for address in loaded)
    assert "<script" not in text


@pytest.mark.parametrize("page", PAGES)
def test_a_page_may_load_nothing_but_its_style(client: Client, page: str) -> None:
    policy = client.get(page).headers["Content-Security-Policy"]
    assert policy.startswith("default-src 'none'; style-src 'self'")


def test_the_style_is_served(client: Client) -> None:
    answer = client.get("/static/page.css", buffered=True)
    assert answer.status_code == 200
    assert "url(" not in answer.text
    assert "@import" not in answer.text


def test_the_documentation_names_every_call_and_schema(app: Flask, client: Client) -> None:
    text = client.get("/docs").text
    description = document(app)
    for path in description["paths"]:
        assert path in text
    for name in description["components"]["schemas"]:
        assert f'id="schema-{name}"' in text


def test_every_link_inside_the_documentation_leads_somewhere(client: Client) -> None:
    text = client.get("/docs").text
    for anchor in set(re.findall(r'href="#([^"]*)"', text)):
        assert f'id="{anchor}"' in text
    for address in set(re.findall(r'href="(/[^"]*)"', text)):
        assert client.get(address, buffered=True).status_code == 200


def test_the_front_door_leads_coaches_and_programmers_on(client: Client) -> None:
    text = client.get("/").text
    assert 'href="/coach/"' in text
    assert 'href="/docs"' in text


@pytest.mark.parametrize("page", PAGES)
def test_no_page_shows_its_own_markup(client: Client, page: str) -> None:
    text = client.get(page).text
    assert "&lt;code&gt;" not in text
    assert "&amp;lt;" not in text


def test_a_word_between_backticks_is_code_and_all_else_is_text(app: Flask) -> None:
    marked = app.jinja_env.filters["marked"]
    assert marked("`<key>` & <b>") == "<code>&lt;key&gt;</code> &amp; &lt;b&gt;"
