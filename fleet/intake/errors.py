"""What was wrong with a message, flat by path; and values as a record may hold them."""

from decimal import Decimal
from typing import Any

NON_FIELD = "non_field_errors"  # DRF's key for what is wrong with an object as a whole


def flat_errors(detail: Any, path: str = "") -> dict[str, str]:
    """{"readings.2.values.o2": "..."}: each wrong field by its path, with what is wrong and what is allowed."""
    if isinstance(detail, dict):
        parts = [flat_errors(value, _below(path, str(key))) for key, value in detail.items()]
    elif isinstance(detail, list) and any(isinstance(each, dict | list) for each in detail):
        parts = [flat_errors(value, f"{path}.{index}") for index, value in enumerate(detail)]
    else:
        said = " ".join(str(each) for each in detail) if isinstance(detail, list) else str(detail)
        return {path or "body": said} if said else {}
    return {key: value for part in parts for key, value in part.items()}


def _below(path: str, key: str) -> str:
    if key == NON_FIELD:
        return path
    return f"{path}.{key}" if path else key


def without_decimals(value: Any) -> Any:
    """The same, with numbers that aren't whole as decimal strings."""
    if isinstance(value, dict):
        return {str(key): without_decimals(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [without_decimals(each) for each in value]
    if isinstance(value, Decimal | float):
        return str(value)
    return value
