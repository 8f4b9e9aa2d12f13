"""Our sentences as data, code by code in `sentences.json`, so that a page, a paper and the phone can say the same.

Each is a template with named figures, and is translated when it is said. `make messages` shows them to translators.
"""

import ast
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

from fleet.errors import FleetError

FOLDER = Path(__file__).parent
ROOT = FOLDER.parents[1]
_TABLES: dict[str, dict[str, str]] = json.loads((FOLDER / "sentences.json").read_text())


def sentences(table: str) -> dict[str, Promise]:
    """By code the sentence, in the reader's language."""
    return {code: gettext_lazy(text) for code, text in _TABLES[table].items()}


def sentences_of(beginnings: tuple[str, ...]) -> Iterator[tuple[str, dict[str, Promise]]]:
    """Each table whose name begins so, with its name."""
    return ((name, sentences(name)) for name in _TABLES if name.startswith(beginnings))


def written(code: str, **figures: object) -> str:
    """What a service writes where otherwise a person does, in the office's language."""
    return str(sentences("written_for")[code]) % figures


def in_own_words(content: Any) -> Any:
    """The same content with each text in the reader's language; addresses on a page (`anchor`) stay."""
    if isinstance(content, dict):
        return {name: each if name == "anchor" else in_own_words(each) for name, each in content.items()}
    return [in_own_words(each) for each in content] if isinstance(content, list) else gettext_lazy(content)


def all_texts() -> Iterator[str]:
    """Everything that a translator has to see: the refusals too, which stand where they are raised."""
    yield from refusals()
    for table in _TABLES.values():
        yield from filter(None, table.values())
    for chapter in json.loads((FOLDER / "glossary.json").read_text()):
        yield chapter["title"]
        yield from (term[name] for term in chapter["terms"] for name in ("word", "meaning"))


def refusals() -> Iterator[str]:
    """The sentence of each refusal raised anywhere, once."""
    raised = {FleetError.__name__, *(each.__name__ for each in FleetError.__subclasses__())}
    found: dict[str, None] = {}
    for path in sorted(ROOT.glob("fleet/**/*.py")) + sorted(ROOT.glob("api/*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in raised and len(node.args) > 1:
                said = getattr(node.args[1], "value", None)
                found |= {said: None} if isinstance(said, str) else {}
    yield from found
