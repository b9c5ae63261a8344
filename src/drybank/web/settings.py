"""Settings of the pages, for `DJANGO_SETTINGS_MODULE=drybank.web.settings` and for `drybank.web.site`.

Where the book lies and the few things that differ from place to place come from the environment:
DRYBANK_BOOK, DRYBANK_TLS (1: the pages are reached over TLS), DRYBANK_HOSTS (names, with commas), DRYBANK_SECRET_KEY,
DRYBANK_PROXY (1: behind a proxy on this computer), DRYBANK_LAN (1: over TLS by the place's own certificate).
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Any

from drybank.book import connection_settings, is_postgres, name_of
from drybank.desk import state

HERE = Path(__file__).parent
BOOK = os.environ.get("DRYBANK_BOOK", "drybank.book")
IS_TLS = os.environ.get("DRYBANK_TLS", "") == "1"
IS_LAN = os.environ.get("DRYBANK_LAN", "") == "1"
_MARK = hashlib.sha256(name_of(BOOK if is_postgres(BOOK) else Path(BOOK).absolute()).encode()).hexdigest()[:12]


def _secret() -> str:
    """This computer's key for this book, made once and readable by its owner alone; never kept in the book."""
    given = os.environ.get("DRYBANK_SECRET_KEY", "")
    if given:
        return given
    folder = state.folder()
    file = folder / f"key-{_MARK}"
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as new:
            new.write(os.urandom(32).hex())
    except FileExistsError:
        pass
    except OSError:
        return os.urandom(32).hex()  # nowhere to keep it: everybody logs in again after a restart
    return file.read_text().strip() or os.urandom(32).hex()


SECRET_KEY = _secret()
DEBUG = False
ALLOWED_HOSTS = [*filter(None, os.environ.get("DRYBANK_HOSTS", "").split(",")), "localhost", "127.0.0.1", "[::1]"]
DATABASES: dict[str, Any] = {"default": connection_settings(BOOK, create=True)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
USE_TZ = True
TIME_ZONE = "UTC"
INSTALLED_APPS = [
    "drybank.book",
    "drybank.web.apps.Pages",
    "django.contrib.contenttypes",
    "django.contrib.auth",
    "django.contrib.sessions",
    "django.contrib.messages",
    "axes",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "drybank.web.speech.Faults",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "drybank.web.speech.Language",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "drybank.web.urls"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [HERE / "templates"],
        "OPTIONS": {
            "builtins": ["drybank.web.templatetags.drybank", "django.templatetags.i18n", "django.templatetags.tz"],
            "libraries": {"drybank": "drybank.web.templatetags.drybank"},
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "drybank.web.guard.frame",
            ],
        },
    }
]

# People
AUTH_USER_MODEL = "web.Person"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ["handle", "name"]},
    },
]
LOGIN_URL = "log-in"
AXES_FAILURE_LIMIT = 6
AXES_COOLOFF_TIME = 0.25  # hours
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_LOCKOUT_CALLABLE = "drybank.web.views.entrance.locked_out"
AXES_RESET_ON_SUCCESS = True
AXES_DISABLE_ACCESS_LOG = True
AXES_VERBOSE = False
SILENCED_SYSTEM_CHECKS = ["axes.W003"]

# Cookies: one name for each book, so that the demo beside the real book does not log anybody out.
SESSION_COOKIE_NAME = f"drybank-{_MARK}"
CSRF_COOKIE_NAME = f"drybank-form-{_MARK}"
LANGUAGE_COOKIE_NAME = "drybank-language"
SESSION_COOKIE_AGE = 12 * 3600
SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Strict"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = IS_TLS
SESSION_SERIALIZER = "django.contrib.sessions.serializers.JSONSerializer"
CSRF_FAILURE_VIEW = "drybank.web.views.entrance.form_too_old"
# Not with the place's own certificate: a browser that was told to insist has no way round a certificate made anew.
SECURE_HSTS_SECONDS = 31_536_000 if IS_TLS and not IS_LAN else 0
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
if os.environ.get("DRYBANK_PROXY", "") == "1":
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"], "script-src": ["'self'"], "style-src": ["'self'"], "img-src": ["'self'", "data:", "blob:"],
        "font-src": ["'self'"], "connect-src": ["'self'"], "form-action": ["'self'"], "manifest-src": ["'self'"],
        "worker-src": ["'self'"], "base-uri": ["'none'"], "frame-ancestors": ["'none'"],
    }
}  # fmt: skip
DATA_UPLOAD_MAX_MEMORY_SIZE = 4_500_000

# Words
USE_I18N = True
LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("es", "Español")]
LOCALE_PATHS = [HERE / "locale"]
STATIC_URL = "/static/"
LOGGING_CONFIG = None
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
