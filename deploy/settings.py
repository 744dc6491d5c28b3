"""Django's settings, from environment variables.

WRAPLEDGER_ENV is `demo` (the default: everything under .demo, on this machine only) or `production`, where
deploy/checks.py refuses to start on anything unsafe. The variables are listed in deploy/handbook/operations.md.
"""

import os
from pathlib import Path

from deploy import configuration

HOME = Path(__file__).resolve().parent.parent
DEMO_FOLDER = HOME / ".demo"

WRAPLEDGER_ENV = os.environ.get("WRAPLEDGER_ENV", configuration.DEMO)
IS_DEMO = WRAPLEDGER_ENV == configuration.DEMO  # any other word is held to production's rules

DEBUG = configuration.is_on(os.environ.get("DEBUG", ""))
# A key of one word lets Django load far enough for the system checks to say what is wrong with it.
SECRET_KEY = configuration.secret_key(os.environ, DEMO_FOLDER if IS_DEMO else None) or "missing"
SECRET_KEY_FALLBACKS = configuration.keys_in_file(
    os.environ.get("SECRET_KEY_FALLBACKS_FILE"), "SECRET_KEY_FALLBACKS_FILE"
)
# Of second factors; without, by SECRET_KEY.
DEVICE_KEYS = configuration.keys_in_file(os.environ.get("DEVICE_KEYS_FILE"), "DEVICE_KEYS_FILE")
ALLOWED_HOSTS = configuration.words(os.environ.get("ALLOWED_HOSTS", "")) or (
    configuration.LOCAL_HOSTS if IS_DEMO else []
)
CSRF_TRUSTED_ORIGINS = configuration.words(os.environ.get("CSRF_TRUSTED_ORIGINS", ""))

DATABASES = configuration.databases(os.environ, DEMO_FOLDER)
DATABASE_ROUTERS = ["reels.standby.Router"]
STANDBY_LIMIT_SECONDS = configuration.whole("STANDBY_LIMIT_SECONDS", 60, least=0)  # further behind, it is not read
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

INSTALLED_APPS = [
    "deploy.apps.DeployConfig",
    "reports.apps.ReportsConfig",
    "inspections.apps.InspectionsConfig",
    "reels.apps.ReelsConfig",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "csp",
    "django_tasks",
    "django_tasks_db",
    "drf_spectacular",
    "rest_framework",
]

MIDDLEWARE = [
    # The order matters. Watch is outside everything, so that refusals by the others have an id and are counted;
    # so has a request that took too long.
    # The address is put right before anything limits or logs by it; static files are answered before any session is
    # looked up; and a body that is too large is refused before CSRF reads it.
    "deploy.watching.middleware.Watch",
    "deploy.limits.LimitTime",
    "django.middleware.security.SecurityMiddleware",
    "deploy.limits.FindAddress",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    # What is compressed is the whole answer of those below.
    "deploy.compression.Compress",
    "csp.middleware.CSPMiddleware",
    "deploy.limits.LimitBodies",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    # Who asks is known from here on, so that refusals name them and requests are counted by person. Then, once the view
    # is known: a session that is over ends before a login is asked for, and a login is asked for before whose it is.
    "deploy.watching.middleware.LogRefusals",
    "deploy.sessions.KnowBrowsers",
    "deploy.sessions.EndSessions",
    "deploy.limits.LimitRates",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "deploy.sessions.SettleLogins",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

ROOT_URLCONF = "deploy.urls"
WSGI_APPLICATION = "deploy.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "builtins": ["reels.pages.pieces"],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "reports.pages.tour.offered",
            ],
        },
    }
]

# People

AUTH_USER_MODEL = "reels.Person"
LOGIN_URL = "/login"
LOGIN_REDIRECT_URL = "/"
LOGOUT_REDIRECT_URL = LOGIN_URL
SESSION_HOURS = configuration.whole("SESSION_HOURS", 12)  # one shift, and then one logs in again
SESSION_IDLE_MINUTES = configuration.whole("SESSION_IDLE_MINUTES", 60)
SESSION_ENGINE = "deploy.sessions"
SESSION_COOKIE_AGE = SESSION_HOURS * 60 * 60
SESSION_EXPIRE_AT_BROWSER_CLOSE = True
LOCK_AFTER_TRIES = configuration.whole("LOCK_AFTER_TRIES", 5)
LOCK_AFTER_TRIES_A_DAY = configuration.whole("LOCK_AFTER_TRIES_A_DAY", 100)
LOCK_MINUTES = configuration.whole("LOCK_MINUTES", 15)
GIVEN_PASSWORD_DAYS = configuration.whole("GIVEN_PASSWORD_DAYS", 7)  # one that an administrator gave
SECOND_FACTOR = os.environ.get("SECOND_FACTOR") or "optional"  # or "signers", or "everyone"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "reels.services.passwords.NotOurWords"},
]

# Browsers

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = not IS_DEMO
if not IS_DEMO:  # a browser takes these only over TLS, for this host alone
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "__Host-session", "__Host-csrf"
BROWSER_COOKIE_NAME = "browser" if IS_DEMO else "__Host-browser"
CSRF_COOKIE_HTTPONLY = True
SECURE_SSL_REDIRECT = not IS_DEMO
SECURE_REDIRECT_EXEMPT = ["^(healthz|readyz|metrics)$"]  # asked on the machine itself, past the proxy
SECURE_HSTS_SECONDS = 0 if IS_DEMO else 365 * 24 * 60 * 60
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]  # other hosts of the domain are not ours to bind to TLS
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "form-action": ["'self'"],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
    }
}

# Static files: the demo serves them from where they lie; production from what `collectstatic` gathered.

STATIC_URL = "/static/"
STATIC_ROOT = None if IS_DEMO else Path(os.environ.get("STATIC_ROOT", HOME / "static"))
WHITENOISE_USE_FINDERS = IS_DEMO
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if IS_DEMO
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}

# The key that seals documents, and the certificates of it and of its forerunners, the newest first.

SEAL_KEY_FILE = os.environ.get("SEAL_KEY_FILE") or str(DEMO_FOLDER / "seal_key.pem" if IS_DEMO else "")
SEAL_CERT_FILE = os.environ.get("SEAL_CERT_FILE") or str(DEMO_FOLDER / "seal_certificates.pem" if IS_DEMO else "")

# The key that signs checkpoints, and what they call this service.

CHECKPOINT_KEY_FILE = os.environ.get("CHECKPOINT_KEY_FILE") or str(
    DEMO_FOLDER / "checkpoint_key.pem" if IS_DEMO else ""
)
SERVICE_NAME = os.environ.get("SERVICE_NAME") or ("demo, which proves nothing" if IS_DEMO else "Wrapledger")

# Language and time: kept in UTC; TIME_ZONE is only what pages show where a site has no zone of its own.

LANGUAGE_CODE = "en-gb"
USE_TZ = True
TIME_ZONE = configuration.time_zone("TIME_ZONE", "UTC")

# The board calls a count due so many days after a reel's last one.
COUNT_DUE_DAYS = configuration.whole("COUNT_DUE_DAYS", 60)

# Mail for notices. Without a server none is sent; the demo prints it.
EMAIL_HOST = os.environ.get("MAIL_HOST", "")
EMAIL_BACKEND = f"django.core.mail.backends.{'console' if IS_DEMO and not EMAIL_HOST else 'smtp'}.EmailBackend"
MAIL_SECURITY = os.environ.get("MAIL_SECURITY") or configuration.STARTTLS
EMAIL_USE_TLS, EMAIL_USE_SSL = MAIL_SECURITY == configuration.STARTTLS, MAIL_SECURITY == configuration.TLS
EMAIL_PORT = configuration.whole("MAIL_PORT", configuration.MAIL_PORTS.get(MAIL_SECURITY, 0))
EMAIL_HOST_USER = os.environ.get("MAIL_USER", "")
EMAIL_HOST_PASSWORD = configuration.mail_password(os.environ)
EMAIL_TIMEOUT = 30  # seconds; a mail server that hangs must not hold the nightly run
DEFAULT_FROM_EMAIL = os.environ.get("MAIL_FROM", "") or ("wrapledger@localhost" if IS_DEMO else "")
ORGANISATION = os.environ.get("ORGANISATION", "Larkspur Water Survey" if IS_DEMO else "")  # who issues documents
PUBLIC_URL = os.environ.get("PUBLIC_URL", "").rstrip("/")  # what the links in mails begin with

# The guided tour, a file as deploy/demo_fleet/tour.json is; without one there is no such page.
TOUR_FILE = os.environ.get("TOUR_FILE", str(HOME / "deploy" / "demo_fleet" / "tour.json") if IS_DEMO else "")

# How many wrong passwords are taken from one address, of browsers that are not known (reels/services/tries.py); and how
# many requests, by person in a session or by address, in each process. Empty: no limit.
# PROXIES: how many web servers stand in front and tell the client's address.

RATES = {
    "login": configuration.rate("LOGIN_RATE", "30/min"),
    "request": configuration.rate("REQUEST_RATE", "1200/min"),
    "as_of": configuration.rate("AS_OF_RATE", "60/min"),  # each is a report of its own for the worker
    "stands": configuration.rate("STANDS_RATE", "30/min"),  # asked by anybody who holds a document
}
PROXIES = configuration.whole("PROXIES", 0, least=0)
# It only holds who asked how often. With Django's own 300 entries a busy process would forget that, and limit nobody.
CACHES = {"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "OPTIONS": {"MAX_ENTRIES": 10_000}}}

# After so many seconds a request is given up, and answered; gunicorn's own limit, which answers nothing, is above it.
REQUEST_SECONDS = configuration.seconds("REQUEST_SECONDS", 25 if IS_DEMO else 100, most=110)

# Work that no request waits for: `manage.py run_worker` does it.
TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend", "QUEUES": []}}

# API

REST_FRAMEWORK = {
    "DEFAULT_PERMISSION_CLASSES": ["reels.api.authentication.MayUse"],
    # The first one's challenge is what a 401 carries.
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "reels.api.authentication.BearerAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["reels.api.parsing.StrictJSONParser"],
    "DEFAULT_VERSIONING_CLASS": "rest_framework.versioning.NamespaceVersioning",
    "DEFAULT_SCHEMA_CLASS": "reels.api.schema.EndpointSchema",
    "EXCEPTION_HANDLER": "deploy.problems.answer_exception",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
    "URL_FORMAT_OVERRIDE": None,
}
OPENAPI_FILE = HOME / "deploy" / "handbook" / "openapi.yaml"
SPECTACULAR_SETTINGS = {
    "TITLE": "Wrapledger",
    "DESCRIPTION": "Maintenance records for cable reel assemblies. What the API promises is in deploy/handbook/api.md.",
    "VERSION": "1.0",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_PATCH": False,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    "POSTPROCESSING_HOOKS": ["reels.api.schema.finish"],
}

# Whatever goes wrong is said on standard error; without this Django would only try to send mail.
LOG_FORMAT = configuration.one_of("LOG_FORMAT", "text" if IS_DEMO else "json", ("json", "text"))
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "json": {"()": "deploy.watching.log.JsonLines"},
        "text": {"format": "{levelname} {name}: {message}", "style": "{"},
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": LOG_FORMAT}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        "django": {"handlers": ["console"], "level": "WARNING", "propagate": False},
        "django.request": {"level": "ERROR"},  # a refused or mistyped request is no event for operators
        "django_tasks_db": {"level": "ERROR"},  # nor is a worker that is told to end
        "wrapledger": {"level": "WARNING" if LOG_FORMAT == "text" else "INFO"},  # requests are told in JSON only
    },
}
SLOW_QUERY_MS = configuration.whole("SLOW_QUERY_MS", 500, least=0)

# Who may read /metrics: whoever has the token, or asks directly from one of these networks.

METRICS_TOKEN_FILE = os.environ.get("METRICS_TOKEN_FILE", "")
METRICS_FROM = configuration.networks("METRICS_FROM")
