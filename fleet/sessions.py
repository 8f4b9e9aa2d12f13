"""Who is logged in where: sessions whose rows hold nothing that opens one, and are the list of somebody's log-ins.

A row's key is the hash of what stands in the cookie, and its content is sealed, as are second factors: a copy of the
database opens nothing without the installation's key.
"""

import base64
import hashlib
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from cryptography.fernet import Fernet, InvalidToken
from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.base import CreateError, SessionBase, UpdateError
from django.db import IntegrityError, transaction
from django.utils.crypto import salted_hmac

from fleet import clock

SEEN_EACH = timedelta(minutes=5)


@lru_cache(maxsize=4)
def _sealer(secret: str) -> Fernet:
    return Fernet(base64.urlsafe_b64encode(salted_hmac("fleet.sealed", "", secret, algorithm="sha256").digest()))


def seal(text: str) -> str:
    return _sealer(settings.SECRET_KEY).encrypt(text.encode()).decode()


def unseal(sealed: str) -> str:
    """Raises ValueError for what this installation's key did not seal."""
    try:
        return _sealer(settings.SECRET_KEY).decrypt(sealed.encode()).decode()
    except InvalidToken as bad:
        raise ValueError("sealed by another key") from bad


def row_key(cookie: str) -> str:
    return hashlib.sha256(cookie.encode()).hexdigest()


class SessionStore(SessionBase):
    """`network` and `browser` say where a request comes from; the middleware sets them."""

    network = browser = ""
    _seen_at: datetime | None = None

    def encode(self, session_dict: dict[str, Any]) -> str:
        return seal(self.serializer().dumps(session_dict).decode("latin-1"))

    def decode(self, session_data: str) -> dict[str, Any]:
        try:
            return dict(self.serializer().loads(unseal(session_data).encode("latin-1")))
        except ValueError:
            return {}

    def _row(self, cookie: str | None) -> Any:
        from fleet.models import LogIn  # sessions are set up before the models are

        return LogIn.objects.filter(key=row_key(cookie or ""))

    def load(self) -> dict[str, Any]:
        row = self._row(self.session_key).filter(expires_at__gt=clock.now()).first() if self.session_key else None
        if row is None:
            self._session_key = None
            return {}
        self._seen_at = row.seen_at
        return self.decode(row.data)

    def exists(self, session_key: str) -> bool:
        return bool(self._row(session_key).exists())

    def create(self) -> None:
        while True:
            self._session_key = self._get_new_session_key()
            try:
                self.save(must_create=True)
            except CreateError:
                continue
            self.modified = True
            return

    def save(self, must_create: bool = False) -> None:
        if self.session_key is None:
            return self.create()
        content, now = self._get_session(no_load=must_create), clock.now()
        values = {
            "data": self.encode(content),
            "user_id": content.get(SESSION_KEY),
            "expires_at": self.get_expiry_date(modification=now),
            "network": self.network,
            "browser": self.browser,
        }
        row = self._row(self.session_key)
        if must_create:
            try:
                with transaction.atomic():
                    row.create(key=row_key(self.session_key), made_at=now, seen_at=now, **values)
            except IntegrityError as bad:
                raise CreateError from bad
        elif not row.update(seen_at=now, **values):
            raise UpdateError
        return None

    def delete(self, session_key: str | None = None) -> None:
        self._row(session_key or self.session_key).delete()

    def note_seen(self) -> None:
        """Coarsely: a request that changes nothing writes at most once in five minutes."""
        now = clock.now()
        if self._seen_at is not None and now - self._seen_at > SEEN_EACH:
            self._row(self.session_key).update(seen_at=now, network=self.network, browser=self.browser)
