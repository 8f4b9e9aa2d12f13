"""JSON log lines with the request's id and no names, addresses or tokens."""

import logging
import re

import structlog
from structlog.typing import EventDict, WrappedLogger

_render = structlog.processors.JSONRenderer()
# What opens something by itself, whoever's line names it: addresses, with or without the slash before them, and tokens;
# and people's e-mail addresses.
_SECRETS = (
    (re.compile(r"\b((?:calendar|new-password)/|flt_)[^\s\"'\\?&;,)]+"), r"\1..."),
    (re.compile(r"(?<![\w.+-])[\w.+-]+@[\w.-]+"), "...@..."),
)


def as_json(logger: WrappedLogger, name: str, event: EventDict) -> str | bytes:
    """The last step of every log line, ours and the libraries'."""
    record: logging.LogRecord | None = event.pop("_record", None)
    event.pop("_from_structlog", None)
    if record is not None:
        event.setdefault("level", record.levelname.lower())
        event.setdefault("logger", record.name)
    event = structlog.processors.format_exc_info(logger, name, event)
    line = _render(logger, name, structlog.processors.TimeStamper(fmt="iso", utc=True)(logger, name, event))
    return without_secrets(line) if isinstance(line, str) else line


# As the settings name it: a formatter that is given one step alone takes the record away from it.
LAST_STEPS = (as_json,)


def without_secrets(text: str) -> str:
    """
    >>> without_secrets("GET /calendar/abc.ics?token=flt_0a1b for bo@heating.example")
    'GET /calendar/...?token=flt_... for ...@...'
    """
    for written, shown in _SECRETS:
        text = written.sub(shown, text)
    return text


def configure() -> None:
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.stdlib.add_log_level,
            structlog.processors.format_exc_info,
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        cache_logger_on_first_use=True,
    )
