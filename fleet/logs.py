"""JSON log lines with the request's id and no names, addresses or tokens."""

import logging
import re

import structlog
from structlog.typing import EventDict, WrappedLogger

_render = structlog.processors.JSONRenderer()
# Addresses that open something by themselves, whoever's line names them.
_SECRET = re.compile(r"(/(?:calendar|new-password)/)[^\s\"'\\?]+")


def as_json(logger: WrappedLogger, name: str, event: EventDict) -> str | bytes:
    """The last step of every log line, ours and the libraries'."""
    record: logging.LogRecord | None = event.pop("_record", None)
    event.pop("_from_structlog", None)
    if record is not None:
        event.setdefault("level", record.levelname.lower())
        event.setdefault("logger", record.name)
    line = _render(logger, name, structlog.processors.TimeStamper(fmt="iso", utc=True)(logger, name, event))
    return without_secrets(line) if isinstance(line, str) else line


def without_secrets(text: str) -> str:
    """
    >>> without_secrets("GET /calendar/abc.ics?x=1")
    'GET /calendar/...?x=1'
    """
    return _SECRET.sub(r"\1...", text)


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
