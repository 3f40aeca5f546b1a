"""Settings. Everything that differs between machines comes from the environment; one site address derives the rest.

| variable | meaning | default |
|---|---|---|
| SHEENWARD_MODE | demo, test or production | production |
| SHEENWARD_SECRET_KEY | secret of this installation | none in production |
| SHEENWARD_SITE_ADDRESS | the address people use, e.g. https://care.example.org | http://127.0.0.1:8000 |
| DATABASE_URL | sqlite:///… or postgres://… | sqlite in var/ |
| REDIS_URL | broker and cache, e.g. redis://127.0.0.1:6379/0 | none: no broker, cache in the database |
| SHEENWARD_MAIL | console, folder, smtp or the path of an Anymail backend | folder in demo, memory in test |
| SHEENWARD_MAIL_FROM | sender of mails | care@ the host of the site address |
| SHEENWARD_FILES | where photos and documents lie: local, or the path of a storage | local: SHEENWARD_VAR/files |
| SHEENWARD_FILES_… | options of that storage, e.g. SHEENWARD_FILES_BUCKET_NAME | none |
| SHEENWARD_PHOTO_MB | most megabytes of one photo | 15 |
| SHEENWARD_PHOTO_MEGAPIXELS | most million pixels of one photo | 50 |
| SHEENWARD_DOCUMENT_MB | most megabytes of one data sheet (PDF) | 20 |
| SHEENWARD_REQUEST_MB | most megabytes of one form with its files | 100 |
"""

from __future__ import annotations

from pathlib import Path
from urllib.parse import urlsplit

import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from portal.customer_style import SOURCE as CUSTOMER_STYLE
from portal.files import files_storage

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()
MODE = env("SHEENWARD_MODE", default="production")
if MODE == "production":
    # A test run or a demo in an installed checkout must never reach the installation's database or broker.
    environ.Env.read_env(BASE_DIR / "var" / "env", overwrite=False)
if MODE not in ("demo", "test", "production"):
    raise ImproperlyConfigured(f"SHEENWARD_MODE is {MODE!r}; set it to demo, test or production.")
PRODUCTION = MODE == "production"
DEBUG = False

VAR_DIR = Path(env("SHEENWARD_VAR", default=str(BASE_DIR / "var")))
_WEAK_SECRET = "only-for-demo-and-test-never-for-people"  # noqa: S105  (refused in production)
SECRET_KEY = env("SHEENWARD_SECRET_KEY", default="" if PRODUCTION else _WEAK_SECRET)
if PRODUCTION and (len(SECRET_KEY) < 50 or len(set(SECRET_KEY)) < 10 or SECRET_KEY == _WEAK_SECRET):
    raise ImproperlyConfigured(
        "SHEENWARD_SECRET_KEY is missing or weak. Set it to 50 random characters or more, for example the output of: "
        "python3 -c 'import secrets; print(secrets.token_urlsafe(50))'"
    )

SITE_ADDRESS = env("SHEENWARD_SITE_ADDRESS", default="" if PRODUCTION else "http://127.0.0.1:8000").rstrip("/")
_site = urlsplit(SITE_ADDRESS)
if not _site.hostname or _site.scheme not in ("http", "https") or (PRODUCTION and _site.scheme != "https"):
    raise ImproperlyConfigured(
        f"SHEENWARD_SITE_ADDRESS is {SITE_ADDRESS!r}. Set it to the full https address that people use, "
        "for example https://care.example.org"
    )
ALLOWED_HOSTS = [_site.hostname] if PRODUCTION else [_site.hostname, "127.0.0.1", "localhost", "testserver"]
CSRF_TRUSTED_ORIGINS = [SITE_ADDRESS]

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "lifecycle.apps.LifecycleConfig",
    "portal.apps.PortalConfig",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "anymail",
    "csp",
    "django_htmx",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "portal.api.frame.ApiFrameMiddleware",
    "portal.uploads.RequestSizeMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "portal.access.middleware.AccessMiddleware",
]
ROOT_URLCONF = "portal.urls"
WSGI_APPLICATION = "portal.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "portal" / "templates", BASE_DIR / "lifecycle" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "portal.access.context.shell",
            ],
            "builtins": ["portal.templatetags.clocks"],
        },
    }
]

DATABASE_FILE = "demo.sqlite3" if MODE == "demo" else "sheenward.sqlite3"
DATABASES = {"default": env.db_url("DATABASE_URL", default=f"sqlite:///{VAR_DIR / DATABASE_FILE}")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # Writers queue instead of failing with "database is locked".
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
    }
else:
    DATABASES["default"].setdefault("CONN_MAX_AGE", 60)
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True

REDIS_URL = env("REDIS_URL", default="")
CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.redis.RedisCache", "LOCATION": REDIS_URL}
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.db.DatabaseCache", "LOCATION": "portal_cache"}
}

AUTH_USER_MODEL = "lifecycle.User"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in ("UserAttributeSimilarityValidator", "CommonPasswordValidator", "NumericPasswordValidator")
] + [
    {
        "NAME": "django.contrib.auth.password_validation.MinimumLengthValidator",
        "OPTIONS": {"min_length": 12},
    }
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"
ACCOUNT_ADAPTER = "portal.access.adapter.AccountAdapter"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
# Customers come by a mailed code or link of our own (`portal.access.door`): hashed at rest, both ways in one mail.
ACCOUNT_LOGIN_BY_CODE_ENABLED = False
COURIER_BESIDE = MODE != "test"
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_SESSION_REMEMBER = True
MFA_ADAPTER = "portal.access.adapter.MFAAdapter"
MFA_FORMS = {"add_webauthn": "portal.access.forms.AddPasskeyForm"}
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes", "webauthn"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_TOTP_ISSUER = "Sheenward"
# Studios enter the addresses and nobody signs up alone. The link that sets a password leaves an unverified address
# behind, which would otherwise bar its owner from ever setting up a second factor.
MFA_ALLOW_UNVERIFIED_EMAIL = True
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not PRODUCTION

LANGUAGE_CODE = "en"
# Languages of the customers' pages and mails; each has whole catalogues (a test compares). The studio's are English.
LANGUAGES = [("en", "English"), ("de", "Deutsch")]
MAIL_LANGUAGES = LANGUAGES
LOCALE_PATHS = [BASE_DIR / "portal" / "locale"]
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True

STATIC_URL = "/static/"
STATIC_ROOT = VAR_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "portal" / "static"]
# No address serves these files: pages hand them out after asking who may see them.
MEDIA_ROOT = VAR_DIR / ("demo-files" if MODE == "demo" else "files")
STORAGES = {
    "default": files_storage(env("SHEENWARD_FILES", default="local"), env.ENVIRON, MEDIA_ROOT),
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = not PRODUCTION
PHOTO_MOST_BYTES = env.int("SHEENWARD_PHOTO_MB", default=15) * 1_000_000
PHOTO_MOST_PIXELS = env.int("SHEENWARD_PHOTO_MEGAPIXELS", default=50) * 1_000_000
DOCUMENT_MOST_BYTES = env.int("SHEENWARD_DOCUMENT_MB", default=20) * 1_000_000
REQUEST_MOST_BYTES = env.int("SHEENWARD_REQUEST_MB", default=100) * 1_000_000
DATA_UPLOAD_MAX_NUMBER_FILES = 40

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF, CUSTOMER_STYLE],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "worker-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = _site.scheme == "https"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 60
if PRODUCTION:
    SECURE_SSL_REDIRECT = True
    SECURE_REDIRECT_EXEMPT = [r"^healthz$"]
    SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365
    SECURE_HSTS_INCLUDE_SUBDOMAINS = True
    SECURE_HSTS_PRELOAD = True
    if env.bool("SHEENWARD_BEHIND_PROXY", default=False):
        SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
        # Sign-in limits count the caller, not the proxy.
        ALLAUTH_TRUSTED_PROXY_COUNT = 1

MAIL = env("SHEENWARD_MAIL", default={"demo": "folder", "test": "memory", "production": "console"}[MODE])
EMAIL_BACKEND = {
    "console": "django.core.mail.backends.console.EmailBackend",
    "folder": "lifecycle.reminders.mailfolder.EmailBackend",
    "memory": "django.core.mail.backends.locmem.EmailBackend",
    "smtp": "django.core.mail.backends.smtp.EmailBackend",
}.get(MAIL, MAIL)
MAIL_FOLDER = VAR_DIR / "mail"
DEFAULT_FROM_EMAIL = env("SHEENWARD_MAIL_FROM", default=f"care@{_site.hostname}")
SERVER_EMAIL = DEFAULT_FROM_EMAIL
if MAIL == "smtp":
    vars().update(env.email_url("EMAIL_URL"))
    EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
EMAIL_TIMEOUT = 20
ANYMAIL = {key.removeprefix("ANYMAIL_"): value for key, value in env.ENVIRON.items() if key.startswith("ANYMAIL_")} | {
    "SEND_DEFAULTS": {"track_opens": False, "track_clicks": False}
}

# Celery is only the alarm clock: the queue is the database, so a task may be lost, doubled or late without harm.
CELERY_BROKER_URL = REDIS_URL or None
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_TIME_LIMIT = 15 * 60
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 3600, "socket_keepalive": True}
CELERY_TIMEZONE = "UTC"
CELERY_WORKER_HIJACK_ROOT_LOGGER = False

DEMO_KEY = env("SHEENWARD_DEMO_KEY", default="") if MODE == "demo" else ""

from portal.logs import LOGGING  # noqa: E402, F401
