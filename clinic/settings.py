"""Settings, all from the environment; the README's table explains each variable."""

import warnings
from pathlib import Path

import environ
from bootstrap_wrapper import get_bootstrap_dir
from django.urls import reverse_lazy

from clinic.environment import key_from, secret_from

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()

PUBLIC = env.bool("PUBLIC", default=False)
DEBUG = env.bool("DEBUG", default=False)
DATA_FOLDER = Path(env.str("DATA_FOLDER", default=str(BASE_DIR / "var")))
PUBLIC_ADDRESS = env.str("PUBLIC_ADDRESS", default="" if PUBLIC else "http://127.0.0.1:8000").rstrip("/")

SECRET_KEY = key_from("SECRET_KEY", DATA_FOLDER, make=not PUBLIC) or "unset"
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", default=[])
LINK_KEY = key_from("LINK_KEY", DATA_FOLDER, make=not PUBLIC)

ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=[] if PUBLIC else ["127.0.0.1", "localhost", "[::1]"])
_public_host = PUBLIC_ADDRESS.partition("://")[2].partition("/")[0].partition(":")[0]
if _public_host and _public_host not in ALLOWED_HOSTS:
    ALLOWED_HOSTS.append(_public_host)
CSRF_TRUSTED_ORIGINS = [PUBLIC_ADDRESS] if PUBLIC_ADDRESS else []

INSTALLED_APPS = [
    "clinic.apps.ClinicConfig",
    "taping.apps.TapingConfig",
    "reminders.apps.RemindersConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "crispy_forms",
    "crispy_bootstrap5",
    "django_htmx",
    "axes",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "clinic.middleware.PrivatePages",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "clinic.middleware.LogInFirst",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "clinic.middleware.ClinicTime",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "clinic.urls"
WSGI_APPLICATION = "clinic.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "clinic.views.navigation.navigation",
                "reminders.views.banner.banner",
            ],
            "builtins": ["clinic.templatetags.words"],
        },
    },
]

# SQLite takes the write lock when a transaction begins: a reader that writes later would otherwise fail at once,
# in spite of the time-out, whenever another writer committed in between.
SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": (
        "PRAGMA journal_mode=WAL;PRAGMA synchronous=FULL;PRAGMA foreign_keys=ON;"
        "PRAGMA mmap_size=134217728;PRAGMA journal_size_limit=27103364;PRAGMA cache_size=-8000;"
    ),
}

DATABASES = {"default": env.db_url("DATABASE_URL", default=f"sqlite:///{DATA_FOLDER / 'clinic.sqlite3'}")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = dict(SQLITE_OPTIONS)
else:
    DATABASES["default"]["PASSWORD"] = DATABASES["default"].get("PASSWORD") or secret_from("DATABASE_PASSWORD")
    DATABASES["default"]["CONN_MAX_AGE"] = env.int("DATABASE_CONN_MAX_AGE", default=60)
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "clinic.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 15}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = reverse_lazy("log_in")
LOGIN_REDIRECT_URL = reverse_lazy("today")
LOGOUT_REDIRECT_URL = reverse_lazy("log_in")

# Throttled per name and address together: a stranger's guesses must never lock the clinic, or a therapist, out.
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "clinic/log_in_wait.html"
AXES_DISABLE_ACCESS_LOG = True
AXES_VERBOSE = False
AXES_IPWARE_PROXY_COUNT = env.int("PROXY_COUNT", default=0) or None
AXES_IPWARE_META_PRECEDENCE_ORDER = (
    ["HTTP_X_FORWARDED_FOR", "REMOTE_ADDR"] if AXES_IPWARE_PROXY_COUNT else ["REMOTE_ADDR"]
)

SESSION_COOKIE_NAME = "__Host-wearwindow" if PUBLIC else "wearwindow"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = PUBLIC
SESSION_COOKIE_AGE = 12 * 60 * 60
CSRF_COOKIE_NAME = "__Host-wearwindow-form" if PUBLIC else "wearwindow-form"
CSRF_COOKIE_SECURE = PUBLIC
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "reminders.views.link_expired.form_expired_for"
SECURE_SSL_REDIRECT = PUBLIC
SECURE_REDIRECT_EXEMPT = [r"^health/"]
SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60 if PUBLIC else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = PUBLIC
SECURE_HSTS_PRELOAD = PUBLIC
# Not "no-referrer": browsers then send "Origin: null" with every form (Fetch standard, 3.2), and the form's
# protection refuses it. No other site learns an address either way.
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
if env.int("PROXY_COUNT", default=0):
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
X_FRAME_OPTIONS = "DENY"
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 1000

# Bootstrap's own style sheet carries its icons as data: images.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "object-src": ["'none'"],
        "base-uri": ["'none'"],
        "frame-ancestors": ["'none'"],
        "form-action": ["'self'"],
    },
}

STATIC_URL = "/static/"
STATIC_ROOT = Path(env.str("STATIC_FOLDER", default=str(BASE_DIR / "staticfiles")))
STATICFILES_DIRS = [
    BASE_DIR / "static",
    ("vendor/bootstrap", get_bootstrap_dir()),
]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": (
            "whitenoise.storage.CompressedManifestStaticFilesStorage"
            if PUBLIC
            else "django.contrib.staticfiles.storage.StaticFilesStorage"
        )
    },
}
WHITENOISE_USE_FINDERS = not PUBLIC
if not PUBLIC:
    # Files are served from where they lie; that nothing was collected is no fault then.
    warnings.filterwarnings("ignore", "No directory at", UserWarning)

# The words of the notices' style classes.
MESSAGE_TAGS = {10: "info", 20: "info", 25: "good", 30: "care", 40: "stop"}

CRISPY_ALLOWED_TEMPLATE_PACKS = "bootstrap5"
CRISPY_TEMPLATE_PACK = "bootstrap5"
CRISPY_FAIL_SILENTLY = False

LANGUAGE_CODE = "en"
LANGUAGES = [("en", "English"), ("es", "Español"), ("fr", "Français"), ("de", "Deutsch"), ("ar", "العربية")]
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"

PHONENUMBER_DB_FORMAT = "E164"
PHONENUMBER_DEFAULT_FORMAT = "E164"
PHONENUMBER_DEFAULT_REGION = env.str("COUNTRY", default="US")

REDIS_URL = env.str("REDIS_URL", default="")
EMAIL_URL = env.str("EMAIL_URL", default="") or "folder:"
SMS_GATEWAY_URL = env.str("SMS_GATEWAY_URL", default="") or "folder:"
SMS_GATEWAY_TOKEN = secret_from("SMS_GATEWAY_TOKEN")
SENDER_ADDRESS = env.str("SENDER_ADDRESS", default="clinic@example.org")
OUTBOX_FOLDER = Path(env.str("OUTBOX_FOLDER", default=str(DATA_FOLDER / "outbox")))

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "filters": {"private": {"()": "clinic.logs.PrivateWords"}},
    "handlers": {
        "stderr": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["private"]},
    },
    "root": {"handlers": ["stderr"], "level": env.str("LOG_LEVEL", default="INFO")},
    "loggers": {
        "django.server": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
        "fontTools": {"level": "ERROR"},
        "weasyprint": {"level": "ERROR"},
    },
}
