"""Settings. The only reader of the environment; a value it can't use stops the start.

Every variable read here is a row of the settings table in README.md (a test compares the two).
"""

import secrets
from datetime import timedelta
from pathlib import Path
from urllib.parse import unquote, urlsplit
from zoneinfo import ZoneInfo

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured, ValidationError
from django.core.validators import validate_email

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()


def _one_of(name: str, allowed: tuple[str, ...], default: str) -> str:
    value = env.str(name, default)
    if value not in allowed:
        raise ImproperlyConfigured(f"{name} is {value!r}; it must be one of {', '.join(allowed)}.")
    return value


def _at_least(name: str, least: int, default: int) -> int:
    try:
        value = env.int(name, default)
    except ValueError as bad:
        raise ImproperlyConfigured(f"{name} must be a whole number: {bad}.") from bad
    if value < least:
        raise ImproperlyConfigured(f"{name} is {value}; it must be at least {least}.")
    return value


SHAPE = _one_of("FLEET_SHAPE", ("embedded", "served"), "embedded")
SERVED = SHAPE == "served"
VAR_DIR = Path(env.str("FLEET_VAR_DIR", str(BASE_DIR / "var"))).resolve()
VAR_DIR.mkdir(parents=True, exist_ok=True)


def _secret_key() -> str:
    """From the environment; the embedded shape makes one for this installation and keeps it in var/."""
    given = env.str("FLEET_SECRET_KEY", "")
    if given:
        if len(given) < 50 or len(set(given)) < 5:
            raise ImproperlyConfigured("FLEET_SECRET_KEY must be at least 50 characters, at least 5 different.")
        return given
    if SERVED:
        raise ImproperlyConfigured("FLEET_SECRET_KEY is required when FLEET_SHAPE is served.")
    kept = VAR_DIR / "secret-key"
    if not kept.exists():
        kept.touch(mode=0o600)
        kept.write_text(secrets.token_urlsafe(64))
    return kept.read_text().strip()


SECRET_KEY = _secret_key()
DEBUG = False
ALLOWED_HOSTS = env.list("FLEET_ALLOWED_HOSTS", default=["127.0.0.1", "localhost", "[::1]"])
if SERVED and "*" in ALLOWED_HOSTS:
    raise ImproperlyConfigured("FLEET_ALLOWED_HOSTS may not hold * when FLEET_SHAPE is served.")
HTTPS = env.bool("FLEET_HTTPS", default=SERVED)
BIND_HOST = env.str("FLEET_BIND_HOST", "127.0.0.1")
BIND_PORT = _at_least("FLEET_BIND_PORT", 1, 8080)
TRUSTED_PROXIES = _at_least("FLEET_TRUSTED_PROXIES", 0, 0)
LOG_LEVEL = _one_of("FLEET_LOG_LEVEL", ("DEBUG", "INFO", "WARNING", "ERROR"), "INFO")

# A drill may run the service at another date; never in service, where records carry real times.
CLOCK_OFFSET = timedelta(seconds=env.int("FLEET_CLOCK_OFFSET_S", 0))
if SERVED and CLOCK_OFFSET:
    raise ImproperlyConfigured("FLEET_CLOCK_OFFSET_S is refused when FLEET_SHAPE is served.")

INSTALLED_APPS = [
    "fleet.apps.FleetConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "drf_spectacular",
    "knox",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "csp",
    "django_structlog",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "fleet.web.middleware.Private",
    "fleet.web.middleware.Tries",
    "fleet.web.middleware.Sessions",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "fleet.web.typed.LogInFirst",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "fleet.web.middleware.RequestLog",
    "allauth.account.middleware.AccountMiddleware",
    "fleet.web.middleware.SecondFactor",
]
ROOT_URLCONF = "fleet.urls"
WSGI_APPLICATION = "fleet.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "fleet" / "web" / "templates"],
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "fleet.web.places.head",
            ],
            "builtins": ["fleet.web.tags"],
        },
    }
]

SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": (
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;"
        "PRAGMA recursive_triggers=ON; PRAGMA cache_size=-65536;"
    ),
}


def _database(name: str, default: str) -> dict[str, object]:
    try:
        database = dict(env.db_url(name, default=default))
    except (environ.ImproperlyConfigured, ValueError, KeyError) as bad:
        raise ImproperlyConfigured(f"{name} can't be read as a database address: {bad}.") from bad
    if database["ENGINE"] == "django.db.backends.sqlite3":
        return database | {"OPTIONS": SQLITE_OPTIONS, "CONN_MAX_AGE": 0}
    if database["ENGINE"] == "django.db.backends.postgresql":
        return database | {"OPTIONS": {"options": "-c synchronous_commit=on -c lock_timeout=10000"}, "CONN_MAX_AGE": 60}
    raise ImproperlyConfigured(f"{name} must name SQLite or PostgreSQL.")


DATABASES = {"default": _database("FLEET_DATABASE_URL", f"sqlite:///{VAR_DIR / 'fleet.sqlite3'}")}
# Migrations run as the owner of the tables; the application's own role may not alter them.
DATABASE_OWNER_URL = env.str("FLEET_DATABASE_OWNER_URL", "")
APP_ROLE = env.str("FLEET_APP_ROLE", "")
APP_ROLE_PASSWORD = env.str("FLEET_APP_ROLE_PASSWORD", "")
if SERVED and DATABASES["default"]["ENGINE"] != "django.db.backends.postgresql":
    raise ImproperlyConfigured("FLEET_DATABASE_URL must name PostgreSQL when FLEET_SHAPE is served.")
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "fleet.User"
AUTHENTICATION_BACKENDS = ["django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
]
PASSWORD_HASHERS = ["fleet.tries.BoundedArgon2"]
PASSWORD_RESET_TIMEOUT = 7 * 24 * 3600
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "attention"
LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_ADAPTER = "fleet.web.accounts.Accounts"
ACCOUNT_LOGIN_METHODS = {"username"}
ACCOUNT_SIGNUP_FIELDS = ["username*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_SESSION_COOKIE_AGE = 12 * 3600
# Passwords and codes are counted by `fleet/tries.py`.
ACCOUNT_RATE_LIMITS = {"login": None, "login_failed": None}
ALLAUTH_TRUSTED_PROXY_COUNT = TRUSTED_PROXIES
MFA_ADAPTER = "fleet.web.accounts.SecondFactors"
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes", "webauthn"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_TOTP_TOLERANCE = 1
MFA_RECOVERY_CODES_SHOW_ONCE = True
MFA_RATE_LIMITS = {"webauthn_login": None}
# Without https there is only this machine, by the name localhost.
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not HTTPS
MANAGERS_NEED_SECOND_FACTOR = True
# How many processes `manage.py serve` starts for pages: each grants its share of the tries.
WEB_PROCESSES = 2
# Its threads, and how many of them work at once: the others hold what was refused.
WEB_THREADS, WEB_WORKING = 32, 4

SESSION_ENGINE = "fleet.sessions"
CACHES = {
    # What is counted for a feed's reader, by each process for itself; and codes, which no two processes may take.
    "process": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"},
    "default": {
        "BACKEND": "django.core.cache.backends.db.DatabaseCache",
        "LOCATION": "fleet_kept",
        "OPTIONS": {"MAX_ENTRIES": 100_000},
    },
}
SESSION_COOKIE_AGE = 12 * 3600
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = HTTPS
SESSION_COOKIE_NAME = "__Host-session" if HTTPS else "session"
CSRF_COOKIE_SECURE = HTTPS
CSRF_COOKIE_HTTPONLY = True
CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in ALLOWED_HOSTS if HTTPS and "[" not in host]
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 31536000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
SECURE_REFERRER_POLICY = "same-origin"
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if TRUSTED_PROXIES else None
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "knox.auth.TokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["api.permissions.ByRole"],
    "DEFAULT_PARSER_CLASSES": ["api.parsers.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "api.errors.problem",
    "NUM_PROXIES": TRUSTED_PROXIES,
    "COERCE_DECIMAL_TO_STRING": True,
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
KNOX_TOKEN_MODEL = "fleet.ApiToken"
REST_KNOX = {
    "TOKEN_TTL": timedelta(days=90),
    "AUTH_HEADER_PREFIX": "Bearer",
    "TOKEN_PREFIX": "flt_",
    "SECURE_HASH_ALGORITHM": "hashlib.sha512",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Combustion tests, limits, drift and revisits",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "OAS_VERSION": "3.1.0",
    # Words stay words in place: hoisting them into components would rename them by chance.
    "POSTPROCESSING_HOOKS": [],
}

STATIC_URL = "static/"
STATIC_ROOT = VAR_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "fleet" / "web" / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = not SERVED
MEDIA_ROOT = VAR_DIR / "files"
DATA_UPLOAD_MAX_MEMORY_SIZE = 1_000_000

LANGUAGE_CODE = "en"
USE_I18N = True
USE_TZ = True
TIME_ZONE = env.str("FLEET_TIME_ZONE", "UTC")
try:
    ZoneInfo(TIME_ZONE)
except Exception as bad:
    raise ImproperlyConfigured(f"FLEET_TIME_ZONE is {TIME_ZONE!r}; it must be a time zone's name.") from bad

# The broker carries ids of due jobs, nothing else; the filesystem one needs no server.
BROKER_URL = env.str("FLEET_BROKER_URL", "filesystem://")
if not BROKER_URL.startswith(("filesystem://", "redis://", "rediss://")):
    raise ImproperlyConfigured("FLEET_BROKER_URL must begin with filesystem://, redis:// or rediss://.")
BROKER_DIR = VAR_DIR / "broker"

_EMAIL_PORTS = {"smtp": 25, "smtp+tls": 587, "smtp+ssl": 465}


def _email(name: str) -> dict[str, object]:
    """Where e-mail goes: files: into a folder that nobody else may open, as a log may hold no address and no link;
    smtp, smtp+tls and smtp+ssl name a server."""
    given = env.str(name, "files:")
    if given == "files:":
        kept = VAR_DIR / "mail"
        kept.mkdir(mode=0o700, exist_ok=True)
        return {"EMAIL_BACKEND": "django.core.mail.backends.filebased.EmailBackend", "EMAIL_FILE_PATH": kept}
    try:
        parts = urlsplit(given)
        host, port = parts.hostname, parts.port
    except ValueError as bad:
        raise ImproperlyConfigured(f"{name} can't be read as a mail server's address: {bad}.") from bad
    if parts.scheme not in _EMAIL_PORTS or not host or parts.path or parts.query or parts.fragment:
        known = ", ".join(f"{each}://" for each in _EMAIL_PORTS)
        raise ImproperlyConfigured(f"{name} must be files: or {known} with [user:password@]host[:port], nothing after.")
    return {
        "EMAIL_BACKEND": "django.core.mail.backends.smtp.EmailBackend",
        "EMAIL_HOST": host,
        "EMAIL_PORT": port or _EMAIL_PORTS[parts.scheme],
        "EMAIL_HOST_USER": unquote(parts.username or ""),
        "EMAIL_HOST_PASSWORD": unquote(parts.password or ""),
        "EMAIL_USE_TLS": parts.scheme == "smtp+tls",
        "EMAIL_USE_SSL": parts.scheme == "smtp+ssl",
    }


def _public_address() -> str:
    """How people reach these pages: links in e-mail and calendars begin with it."""
    given = env.str("FLEET_PUBLIC_ADDRESS", f"http://{BIND_HOST}:{BIND_PORT}")
    parts = urlsplit(given)
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.path.strip("/") or parts.query:
        raise ImproperlyConfigured(
            f"FLEET_PUBLIC_ADDRESS is {given!r}; it must be like https://heating.example, nothing after the host."
        )
    return given.rstrip("/")


globals().update(_email("FLEET_EMAIL_URL"))
EMAIL_TIMEOUT = 10
DEFAULT_FROM_EMAIL = env.str("FLEET_EMAIL_FROM", "alerts@localhost")
try:
    validate_email(DEFAULT_FROM_EMAIL)
except ValidationError as bad:
    raise ImproperlyConfigured(f"FLEET_EMAIL_FROM is {DEFAULT_FROM_EMAIL!r}; it must be an e-mail address.") from bad
PUBLIC_ADDRESS = _public_address()
TEST_RUNNER = "django.test.runner.DiscoverRunner"
if not SERVED:
    SILENCED_SYSTEM_CHECKS = ["security.W004", "security.W008", "security.W012", "security.W016"]

DJANGO_STRUCTLOG_IP_LOGGING_ENABLED = False
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "json": {
            "()": "structlog.stdlib.ProcessorFormatter",
            "processors": "ext://fleet.logs.LAST_STEPS",
            "foreign_pre_chain": [],
        }
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "json"}},
    "root": {"handlers": ["console"], "level": LOG_LEVEL},
    # At its most talkative django.template writes down all that a page was made of; gunicorn what it could not read, a
    # header or a piece of a body, and from where it came.
    "loggers": {
        "django.server": {"level": "WARNING"},
        "celery": {"level": "WARNING"},
        "django.template": {"level": "INFO"},
        "gunicorn.error": {"level": "ERROR", "propagate": True},
    },
}
