"""What other programs rely on: every field of every body, and what is said of values of other kinds.

`python -m tests.intake.test_published` takes `published.txt` anew after a change that is meant; a line a field.
"""

from pathlib import Path
from typing import Any

KEPT = Path(__file__).with_name("published.txt")
ODD: tuple[Any, ...] = (5, "odd", [])


def said_of_fields() -> list[str]:
    from fleet.intake.fields import fields_of
    from tests.house.test_whose import SHAPES
    from tests.intake.refused import refusals

    lines = []
    for shape in _all_of(SHAPES):
        for name, info in fields_of(shape).items():
            odd = {repr(value): {k: v for k, v in refusals(shape, {name: value}).items() if k == name} for value in ODD}
            said = "; ".join(f"{value} {words[name]}" if words else f"{value} taken" for value, words in odd.items())
            lines.append(f"{shape.__name__}.{name}{' needed' if info.is_required() else ''}: {said}"[:400])
    return lines


def _all_of(shapes: Any) -> list[Any]:
    from fleet.intake.fields import fields_of, shape_within

    found = list(shapes)
    for shape in found:
        inner = (shape_within(info) for info in fields_of(shape).values())
        found += [each for each in inner if each is not None and each not in found]
    return sorted(set(found), key=lambda each: each.__name__)


def test_every_field_reads_and_refuses_as_published() -> None:
    assert said_of_fields() == KEPT.read_text().splitlines()


if __name__ == "__main__":
    import os

    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    django.setup()
    KEPT.write_text("\n".join(said_of_fields()) + "\n")
