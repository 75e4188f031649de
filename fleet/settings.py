"""Settings of the site. Every one that a plant may set from its environment is read here, by name, with its
type.
"""

import datetime
import os
import warnings
from pathlib import Path

import dj_database_url
import plotly
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.core.management.utils import get_random_secret_key

CHECKOUT = Path(__file__).resolve().parent.parent


def _yes_or_no(name: str, default: bool) -> bool:
    typed = os.environ.get(name, "").strip().lower()
    if typed in ("",):
        return default
    if typed in ("1", "yes", "true", "on"):
        return True
    if typed in ("0", "no", "false", "off"):
        return False
    raise ImproperlyConfigured(f"{name} is '{typed}'; yes or no is allowed. Set it to one of the two.")


def _whole_number(name: str, default: int, least: int = 1) -> int:
    typed = os.environ.get(name, "").strip()
    if typed and not (typed.isascii() and typed.isdecimal() and int(typed) >= least):
        raise ImproperlyConfigured(
            f"{name} is '{typed}'; a whole number from {least} up is allowed. Set it to one."
        )
    return int(typed) if typed else default


def _words(name: str, default: str = "") -> list[str]:
    return [word.strip() for word in os.environ.get(name, default).split(",") if word.strip()]


def _secret_key(path: Path) -> str:
    """The key from the environment, or one made once and kept beside the record (never in the repository)."""
    from_environment = os.environ.get("SECRET_KEY", "")
    if from_environment:
        return from_environment
    if not path.exists():
        path.touch(mode=0o600)
        path.write_text(get_random_secret_key() + get_random_secret_key())
    return path.read_text().strip()


DEBUG = False
# PLAIN_HTTP=yes serves without TLS: only `demo` and the tests set it. All that TLS needs is turned off by it,
# below.
PLAIN_HTTP = _yes_or_no("PLAIN_HTTP", False)
SECRET_KEY = _secret_key(Path(os.environ.get("SECRET_KEY_FILE", CHECKOUT / "secret-key.txt")))
ALLOWED_HOSTS = _words("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
CSRF_TRUSTED_ORIGINS = _words("CSRF_TRUSTED_ORIGINS")

INSTALLED_APPS = [
    "dashboards",
    "inspections",
    "fleet",
    "django_tables2",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "csp",
    "axes",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "fleet.web.sessions.IdleSessionsEnd",
    "fleet.web.audit_log.Refusals",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "fleet.web.passwords.ChangePasswordFirst",
    "fleet.web.second_factor.SecondFactorFirst",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "fleet.web.headers.PrivatePages",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "fleet.urls"
WSGI_APPLICATION = "fleet.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "fleet.views.navigation.navigation",
                "dashboards.outage_plan.plan_notices.plan_notices",
            ]
        },
    }
]

# Where the record lives, and who may migrate it.
DATABASE_URL = os.environ.get("DATABASE_URL") or f"sqlite:///{CHECKOUT / 'clearance-ledger.sqlite3'}"
DATABASE_OWNER_URL = os.environ.get("DATABASE_OWNER_URL", "")
DATABASES = {"default": dj_database_url.parse(DATABASE_URL)}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    DATABASES["default"]["OPTIONS"] = {
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": (
            "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; "
            "PRAGMA recursive_triggers=ON;"
        ),
    }
elif DATABASES["default"]["ENGINE"] != "django.db.backends.postgresql":
    raise ImproperlyConfigured(
        "DATABASE_URL begins with another word than postgresql:// or sqlite:///, the two databases that are "
        "supported and tested. Give one of these."
    )
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "fleet.Account"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
# Ten wrong passwords for one name from one address shut that pair for a quarter of an hour; the same name
# from elsewhere stays open, so nobody can lock another out.
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = datetime.timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_USERNAME_CALLABLE = "fleet.web.sign_in_names.counted_name"
AXES_CLIENT_IP_CALLABLE = "fleet.web.audit_log.address_of"
AXES_LOCKOUT_TEMPLATE = "fleet/too_many_tries.html"
AXES_RESET_ON_SUCCESS = True
AXES_DISABLE_ACCESS_LOG = True
AXES_ENABLE_ADMIN = False
AXES_VERBOSE = False
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
    {"NAME": "fleet.web.password_rules.NotObvious"},
]
LOGIN_URL = "sign-in"
LOGOUT_REDIRECT_URL = "sign-in"

LANGUAGE_CODE = "en-gb"
USE_I18N = True
TIME_ZONE = "UTC"
USE_TZ = True

STATIC_URL = "/static/"
STATIC_ROOT = Path(os.environ.get("STATIC_ROOT", CHECKOUT / "staticfiles"))
STATICFILES_DIRS = [("plotly", Path(plotly.__file__).parent / "package_data")]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": (
            "django.contrib.staticfiles.storage.StaticFilesStorage"
            if PLAIN_HTTP
            else "fleet.web.scripts.HashedFiles"
        )
    },
}
WHITENOISE_USE_FINDERS = PLAIN_HTTP
if PLAIN_HTTP:
    # Static files come straight from the packages then; none are collected, and that is no cause for a
    # warning.
    warnings.filterwarnings("ignore", message="No directory at", category=UserWarning)
# A sheet of 50 MB is the largest that is read (fleet/sheets/files.py); the form around it is small.
DATA_UPLOAD_MAX_MEMORY_SIZE = 5_000_000
FILE_UPLOAD_MAX_MEMORY_SIZE = 5_000_000
DJANGO_TABLES2_TEMPLATE = "fleet/table.html"

# Nothing is fetched from any other host. plotly adds two style elements of its own: an empty one, and one for
# maps. tests/fleet/test_policy.py works both hashes out from the installed bundle.
PLOTLY_STYLES = [
    "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='",
    "'sha256-ji27qzEtxXZW+7dun6UwjHXJ18e6WAin1VvNtkzIE/o='",
]
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF, *PLOTLY_STYLES],
        "img-src": [SELF, "data:", "blob:"],
        "connect-src": [SELF],
        "font-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "object-src": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
# From signing in at most twelve hours, a long shift; with nothing done, less.
SESSION_COOKIE_AGE = 12 * 3600
SESSION_IDLE_MINUTES = _whole_number("SESSION_IDLE_MINUTES", 240)
COSTLY_REQUESTS = _whole_number("COSTLY_REQUESTS", 60)
CSRF_COOKIE_HTTPONLY = True
SECURE_SSL_REDIRECT = not PLAIN_HTTP
SESSION_COOKIE_SECURE = not PLAIN_HTTP
CSRF_COOKIE_SECURE = not PLAIN_HTTP
SECURE_HSTS_SECONDS = 0 if PLAIN_HTTP else 63_072_000
SECURE_HSTS_INCLUDE_SUBDOMAINS = not PLAIN_HTTP
SECURE_HSTS_PRELOAD = False
# So many proxies of the plant's own stand before the site; each adds to X-Forwarded-For whom it heard from.
PROXIES = _whole_number("PROXIES", 0, least=0)
BEHIND_TLS_PROXY = _yes_or_no("BEHIND_TLS_PROXY", False)
if not PLAIN_HTTP:
    SESSION_COOKIE_NAME = "__Host-session"
    CSRF_COOKIE_NAME = "__Host-csrf"
    if BEHIND_TLS_PROXY:
        SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
# HSTS preload lists are for public names; a plant's site lives on an inner network.
SILENCED_SYSTEM_CHECKS = ["security.W021"]

# `manage.py seal --mail` sends seals to these addresses, through this server; nothing else is ever mailed.
SEAL_MAIL_TO = _words("SEAL_MAIL_TO")
MAIL_FROM = os.environ.get("MAIL_FROM", "bearing-record@localhost")
EMAIL_HOST = os.environ.get("MAIL_HOST", "localhost")
EMAIL_PORT = _whole_number("MAIL_PORT", 25)
EMAIL_HOST_USER = os.environ.get("MAIL_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("MAIL_PASSWORD", "")
EMAIL_USE_TLS = _yes_or_no("MAIL_TLS", False)
EMAIL_TIMEOUT = 20

# One line of JSON for each sign-in and refusal: to a file of AUDIT_LOG, else among the site's own output.
AUDIT_LOG = os.environ.get("AUDIT_LOG", "")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": "fleet.web.log_lines.JsonLines"}},
    "handlers": {
        "console": {"class": "logging.StreamHandler"},
        "audit": (
            {"class": "logging.StreamHandler", "formatter": "json"}
            if not AUDIT_LOG
            else {"class": "logging.handlers.WatchedFileHandler", "filename": AUDIT_LOG, "formatter": "json"}
        ),
    },
    "loggers": {"fleet.web.audit_log": {"handlers": ["audit"], "level": "INFO", "propagate": False}},
    "root": {"handlers": ["console"], "level": "WARNING"},
}
