"""Forms as a browser sends them: what a page holds, with something else typed."""

import html
import re
from typing import Any

from fleet.models import User
from tests.web.opened import opened, sent

Fields = dict[str, str]


def fields_of(page: str) -> Fields:
    """What a browser would send with the page's longest form, its buttons aside."""
    form = max(re.findall(r'<form method="post".*?</form>', page, re.S), key=len)
    given: Fields = {}
    for tag in re.findall(r"<input[^>]*>", form):
        said = {name: html.unescape(value) for name, value in re.findall(r'([a-z-]+)="([^"]*)"', tag)}
        if said.get("type") != "checkbox" and said.get("type") != "file" and "name" in said:
            given[said["name"]] = said.get("value", "")
    for name, inner in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'<option value="([^"]*)" selected>', inner)
        given[name] = html.unescape(chosen[1]) if chosen else ""
    for name, inner in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', form, re.S):
        given[name] = html.unescape(inner).removeprefix("\n").replace("\n", "\r\n")
    given.pop("csrfmiddlewaretoken", None)
    return given


def edit(user: User, path: str, **changes: str) -> Any:
    """Open a form, type something else, and send it."""
    return sent(
        user, path, **(fields_of(opened(user, path)) | {name.replace("__", "-"): v for name, v in changes.items()})
    )


def again(user: User, path: str, page: str, **changes: str) -> Any:
    """Send what a page holds once more."""
    return sent(user, path, **(fields_of(page) | {name.replace("__", "-"): v for name, v in changes.items()}))
