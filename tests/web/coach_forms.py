"""Forms of the coach's pages, filled in and sent as a browser does."""

from __future__ import annotations

import re
from typing import Any

from tests.conftest import Client

TOKEN = re.compile(r'name="csrf_token" value="([^"]+)"')


def send(browser: Client, page: str, action: str = "", /, **fields: Any) -> Any:
    """Send a form with the token of a page; ``action`` is where to, if elsewhere. Names with a
    slash come as ``{"fields": ...}``."""
    token = TOKEN.search(browser.get(page).text)
    assert token is not None
    more = fields.pop("fields", {})
    return browser.post(action or page, data={"csrf_token": token[1], **fields, **more})


def fault(page: str, control: str) -> str:
    """What a page says is wrong beside a control."""
    found = re.search(rf'id="fault-{re.escape(control.replace("/", "-"))}">([^<]+)<', page)
    assert found is not None, control
    return found[1]
