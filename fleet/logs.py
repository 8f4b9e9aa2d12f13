"""JSON log lines with the request's id and no names, addresses or tokens."""

import logging

import structlog
from structlog.typing import EventDict, WrappedLogger

_render = structlog.processors.JSONRenderer()


def as_json(logger: WrappedLogger, name: str, event: EventDict) -> str | bytes:
    """The last step of every log line, ours and the libraries'."""
    record: logging.LogRecord | None = event.pop("_record", None)
    event.pop("_from_structlog", None)
    if record is not None:
        event.setdefault("level", record.levelname.lower())
        event.setdefault("logger", record.name)
    return _render(logger, name, structlog.processors.TimeStamper(fmt="iso", utc=True)(logger, name, event))


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
