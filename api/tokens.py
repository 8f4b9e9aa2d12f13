"""Tokens for other programs: made by somebody logged in, shown once, at most a year; a manager ends anybody's."""

from typing import Annotated, Any

from django.urls.converters import StringConverter
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import NO_STORE, Door
from api.fields import Reference
from api.people import refuse_unless_shown
from api.shapes import RowOut
from fleet import clock
from fleet.errors import Forbidden
from fleet.intake.fields import LEFT_OUT, Many, Shape, Text, Whole, Word
from fleet.models import ApiToken
from fleet.queries.access import visible_clients, visible_tokens
from fleet.services.access import MOST_DAYS, create_token, revoke_token


class TokenKey(StringConverter):
    """A key in an address: what no token's key can be never reaches the database."""

    regex = "[A-Za-z0-9_]{1,25}"


class TokenIn(Shape):
    name: Annotated[str, Text(100)]
    scope: Annotated[str, Word(ApiToken.Scope.values, help="read can't change anything.")]
    days: Annotated[int, Whole(1, MOST_DAYS)]
    clients: Annotated[
        list[Annotated[Any, Reference(visible_clients)]] | None,
        Many(1, 500, null=True, help="What it sees, of what you may see; null or left out: all of that."),
    ] = LEFT_OUT


class TokenOut(RowOut):
    row, columns = ApiToken, "name scope created user"
    key = serializers.CharField(source="token_key", help_text="Its first characters: names it, opens nothing.")
    expires = serializers.DateTimeField(source="expiry")
    used_on = serializers.DateField(help_text="The day on which it was last used; null: never.", allow_null=True)
    clients = serializers.SerializerMethodField(help_text="What it sees alone; null: all that its owner may see.")

    @extend_schema_field(serializers.ListField(child=serializers.UUIDField(), allow_null=True))
    def get_clients(self, token: ApiToken) -> list[Any] | None:
        return [each.id for each in token.clients.all()] if token.is_limited else None


class NewTokenOut(TokenOut):
    token = serializers.CharField(help_text="Shown this once: send it as Authorization: Bearer flt_...")


class TokensOut(serializers.Serializer[Any]):
    results = TokenOut(many=True)


class Tokens(Door):
    """Your own tokens, oldest first, at most 50; for a manager of all clients everybody's."""

    subject, shape_in, shape_out, shape_made, makes = "tokens", TokenIn, TokensOut, NewTokenOut, True

    def get(self, request: Request) -> Response:
        return self.shown({"results": visible_tokens(self.viewer)})

    def post(self, request: Request) -> Response:
        """A new token. Only somebody logged in makes one, who has shown in the last five minutes that it is them: a
        token makes no tokens. A retry makes another."""
        if isinstance(request.auth, ApiToken):
            raise Forbidden("token_by_token", "Log in to make a token; a token makes no tokens.")
        values = self.taken()
        refuse_unless_shown(request)
        token, secret = create_token(user=self.viewer, actor=self.viewer, now=clock.now(), **values)
        token.token = secret
        return self.shown(token, 201, shape=NewTokenOut, **NO_STORE)


class OneToken(Door):
    """A token that you may end."""

    subject = "tokens"

    def delete(self, request: Request, key: str) -> Response:
        """Revoke it: it opens nothing from now on."""
        revoke_token(actor=self.viewer, now=clock.now(), key=key)
        return Response(status=204)
