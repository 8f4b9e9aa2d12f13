"""What services refuse, and why. The API turns these into problem+json, the pages into words."""

from collections.abc import Mapping

from fleet.coded import Coded


class FleetError(Exception):
    """A refusal with a code that callers and tests rely on, and a sentence for a person.

    template, figures: of the sentence, by which pages say it in the reader's language; message is in English.
    errors: each field that is to blame, by its path, with what is wrong as code and figures.
    """

    status = 400

    def __init__(
        self,
        code: str,
        template: str,
        *,
        figures: Mapping[str, object] | None = None,
        errors: Mapping[str, Coded] | None = None,
        **details: object,
    ) -> None:
        self.code, self.template, self.figures, self.details = code, template, figures or {}, details
        self.errors = errors or {}
        self.message = template % figures if figures else template
        super().__init__(" ".join(str(each) for each in (self.message, errors, details) if each))


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
    """A body that can't be read. `errors` maps each field to what is wrong and what is allowed."""

    status = 422
