"""The application for a WSGI server."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.settings")
application = get_wsgi_application()

from clinic.checks import refuse_unsafe  # noqa: E402  # needs the settings that the line above loads

refuse_unsafe()
