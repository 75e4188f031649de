"""The site as a WSGI application."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
application = get_wsgi_application()

from fleet.checks import before_serving  # noqa: E402  needs the apps

before_serving()
