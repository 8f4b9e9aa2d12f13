"""What a refusal says of each field, as the API says it; and what one kind of field makes of a value."""

from typing import Annotated, Any

from pydantic import TypeAdapter, ValidationError

from fleet.errors import FleetError
from fleet.intake.fields import Kind, Shape, errors_of
from fleet.presentation.codes import wrong_text


def said_of(refusal: FleetError) -> dict[str, str]:
    return {path: wrong_text(said) for path, said in refusal.errors.items()}


def read_by(kind: Kind | type[Shape], value: Any) -> Any:
    """The value as it is kept. Raises ValidationError."""
    adapter: TypeAdapter[Any] = TypeAdapter(Annotated[Any, kind] if isinstance(kind, Kind) else kind)
    return adapter.validate_python(value)


def refusals(kind: Kind | type[Shape], value: Any) -> dict[str, str]:
    """What is said of each part that is wrong; empty where the value is taken."""
    shape = kind if isinstance(kind, type) else Shape
    try:
        read_by(kind, value)
    except ValidationError as bad:
        return {path: wrong_text(said) for path, said in errors_of(bad, shape).items()}
    return {}
