"""Settings, all from the environment; the README's table explains each variable."""

import os
import warnings
from pathlib import Path

import environ
from django.urls import reverse_lazy

from clinic.environment import Surroundings, key_from, secret_from
from clinic.zone_data import prefer_newest

prefer_newest()

BASE_DIR = Path(__file__).resolve().parent.parent
env = environ.Env()
told = Surroundings(os.environ)

PUBLIC = told.truth("PUBLIC")
DEBUG = told.truth("DEBUG")
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
    "django_otp",
    "django_otp.plugins.otp_totp",
    "django_otp.plugins.otp_static",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    # Django's adds a random length to each answer, its form tokens differ each time they are written, and the session
    # cookie is not sent with requests from other sites: what BREACH would measure is not there.
    "django.middleware.gzip.GZipMiddleware",
    "csp.middleware.CSPMiddleware",
    "clinic.middleware.PrivatePages",
    "clinic.middleware.LongRequests",
    "clinic.middleware.LogInGate",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "clinic.middleware.SessionClock",
    "clinic.middleware.LogInFirst",
    "clinic.middleware.AccountFirst",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "clinic.middleware.ClinicTime",
    "axes.middleware.AxesMiddleware",
    "reminders.middleware.PaperMissing",
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

DATABASES = {"default": told.database("DATABASE_URL", default=f"sqlite:///{DATA_FOLDER / 'clinic.sqlite3'}")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    DATABASES["default"]["OPTIONS"] = dict(SQLITE_OPTIONS)
else:
    DATABASES["default"]["PASSWORD"] = DATABASES["default"].get("PASSWORD") or secret_from("DATABASE_PASSWORD")
    DATABASES["default"]["CONN_MAX_AGE"] = told.number("DATABASE_CONN_MAX_AGE", default=60, least=0, greatest=86400)
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "clinic.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("username", "full_name")},
    },
    {"NAME": "clinic.services.password_checks.LongEnough"},
    {"NAME": "clinic.services.password_checks.NotOurWords"},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
# Whoever sets the clinic's rules and adds staff proves a second factor first. Off only where passwords are public
# anyhow: in the demo.
MANAGERS_NEED_CODE = True
OTP_TOTP_ISSUER = "Wearwindow"
LOGIN_URL = reverse_lazy("log_in")
LOGIN_REDIRECT_URL = reverse_lazy("today")
LOGOUT_REDIRECT_URL = reverse_lazy("log_in")

# The gate bounds how many wrong log-ins are looked at. Of those, axes counts the wrong passwords of one name, together
# with the address or the known browser: a stranger's guesses must never lock the clinic, or a therapist, out.
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "clinic/log_in_wait.html"
AXES_DISABLE_ACCESS_LOG = True
AXES_VERBOSE = False
# axes keeps what was posted with a wrong password: never a field that holds a secret, whatever form asked for it.
AXES_SENSITIVE_PARAMETERS = ["username", "ip_address", "old_password", "new_password", "again", "code"]
AXES_CLIENT_IP_CALLABLE = "clinic.views.devices.asker"
PROXY_COUNT = told.number("PROXY_COUNT", default=0, least=0, greatest=5)

SESSION_COOKIE_NAME = "__Host-wearwindow" if PUBLIC else "wearwindow"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = PUBLIC
# A tablet put down locks after IDLE_LOCK_MINUTES without a touch; a log-in ends for good after SESSION_HOURS, however
# often it was touched.
IDLE_LOCK_MINUTES = told.number("IDLE_LOCK_MINUTES", default=10, least=1, greatest=60)
SESSION_HOURS = 12
SESSION_COOKIE_AGE = SESSION_HOURS * 60 * 60
DEVICE_COOKIE_NAME = "__Host-wearwindow-device" if PUBLIC else "wearwindow-device"
CSRF_COOKIE_NAME = "__Host-wearwindow-form" if PUBLIC else "wearwindow-form"
CSRF_COOKIE_SECURE = PUBLIC
CSRF_COOKIE_HTTPONLY = True
CSRF_COOKIE_SAMESITE = "Lax"
CSRF_FAILURE_VIEW = "reminders.views.link_expired.form_expired_for"
SECURE_SSL_REDIRECT = PUBLIC
# Machines are not led on to https, or nobody would notice that they tell everything in the clear first.
SECURE_REDIRECT_EXEMPT = [r"^health/", r"^hooks/"]
SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60 if PUBLIC else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = PUBLIC
SECURE_HSTS_PRELOAD = PUBLIC
# Not "no-referrer": browsers then send "Origin: null" with every form (Fetch standard, 3.2), and the form's
# protection refuses it. No other site learns an address either way.
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
if PROXY_COUNT:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
X_FRAME_OPTIONS = "DENY"
# Of whole requests, in bytes: a list of patients with what the browser adds around it, and everything else.
LONGEST_REQUEST = 61 * 1024 * 1024
LONGEST_FORM = 3 * 1024 * 1024
# Beyond so much a connection is closed without words.
MOST_THROWN_AWAY = 8 * 1024**3
# What a form may be is what is read of it: its own fields then say what is too long, and what was typed stays.
DATA_UPLOAD_MAX_MEMORY_SIZE = LONGEST_FORM
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
STATIC_ROOT = Path(env.str("STATIC_FOLDER", default=str(DATA_FOLDER / "static")))
STATICFILES_DIRS = [BASE_DIR / "static"]
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.FileSystemFinder",
    "clinic.static_files.PackageFiles",
]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "clinic.static_files.StaticFiles"},
}
WHITENOISE_USE_FINDERS = not PUBLIC
WHITENOISE_SKIP_COMPRESS_EXTENSIONS = ("map", "png", "woff2", "gz", "br")
if not PUBLIC:
    # Where nothing was collected files are served from where they lie; that is no fault then.
    warnings.filterwarnings("ignore", "No directory at", UserWarning)

# Notices may name a patient: they are kept on the server, never in a cookie.
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
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
PHONENUMBER_DEFAULT_REGION = told.shaped("COUNTRY", default="US", shape=r"[A-Z]{2}", like="US")

# Whether database and Redis are reached over a network that is this program's alone, where they need not be encrypted.
PRIVATE_NETWORK = told.truth("PRIVATE_NETWORK")
REDIS_URL = told.shaped("REDIS_URL", default="", shape=r"(rediss?|unix)://\S+", like="redis://127.0.0.1:6379/0")
# What all processes know together and may be lost: how many wrong addresses came from where. Pages never wait for it.
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": REDIS_URL,
        "KEY_PREFIX": "wearwindow",
        "OPTIONS": {"socket_timeout": 0.5, "socket_connect_timeout": 0.5},
    }
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "OPTIONS": {"MAX_ENTRIES": 10_000}},
}
# It may hold the mail server's password.
EMAIL_URL = secret_from("EMAIL_URL") or "folder:"
SMS_GATEWAY_URL = env.str("SMS_GATEWAY_URL", default="") or "folder:"
SMS_GATEWAY_TOKEN = secret_from("SMS_GATEWAY_TOKEN")
SMS_SENDER = env.str("SMS_SENDER", default="").strip()
PING_URL = secret_from("PING_URL")
HOOK_KEY = secret_from("HOOK_KEY")
SENDER_ADDRESS = told.shaped(
    "SENDER_ADDRESS", default="clinic@example.org", shape=r"[^@]+@[^@\s]+", like="clinic@example.org"
)
OUTBOX_FOLDER = Path(env.str("OUTBOX_FOLDER", default=str(DATA_FOLDER / "outbox")))

BACKUP_FOLDER = Path(env.str("BACKUP_FOLDER", default=str(DATA_FOLDER / "backups")))
BACKUP_KEY = secret_from("BACKUP_KEY")
BACKUP_KEEP = told.number("BACKUP_KEEP", default=14, least=1, greatest=10_000)
BACKUP_WARN_DAYS = told.number("BACKUP_WARN_DAYS", default=2, least=1, greatest=365)

LOG_LEVEL = told.chosen("LOG_LEVEL", default="INFO", among=("DEBUG", "INFO", "WARNING", "ERROR", "CRITICAL"))
told.refuse()

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "filters": {"private": {"()": "clinic.logs.PrivateWords"}},
    "handlers": {
        "stderr": {"class": "logging.StreamHandler", "formatter": "line", "filters": ["private"]},
    },
    "root": {"handlers": ["stderr"], "level": LOG_LEVEL},
    "loggers": {
        "django.server": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
        "fontTools": {"level": "ERROR"},
        "weasyprint": {"level": "ERROR"},
    },
}
