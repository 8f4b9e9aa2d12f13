"""What services refuse, and why. The API turns these into problem+json, the pages into words."""


class FleetError(Exception):
    """A refusal with a code that callers and tests rely on, and a sentence for a person."""

    status = 400

    def __init__(self, code: str, message: str, **details: object) -> None:
        super().__init__(f"{message} {details}" if details else message)
        self.code = code
        self.message = message
        self.details = details


class Conflict(FleetError):
    """The same key with other content, or a version that has moved on."""

    status = 409


class NotFound(FleetError):
    """Nothing there, or nothing that this viewer may see: the two look alike on purpose."""

    status = 404


class Forbidden(FleetError):
    """Known who, but not allowed."""

    status = 403


class Malformed(FleetError):
    """A body that can't be read. `details["errors"]` maps each field to what is wrong and what is allowed."""

    status = 422
