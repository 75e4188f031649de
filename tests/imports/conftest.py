"""The site for walks through its forms."""

import pytest
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from webtest import TestApp


@pytest.fixture
def app():
    """The site as the server calls it, in this test's own transaction: no request ends the connection."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield TestApp(get_wsgi_application(), extra_environ={"HTTP_HOST": "testserver"})
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)
