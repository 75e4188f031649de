"""Every ugly sheet by hand through its pages: within the clicks and answers, and what is stored held against
the truth.
"""

import pytest
from django.conf import settings
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from webtest import TestApp

from tests import makers
from tests.imports import bringing
from tests.imports.hands import MOST_ANSWERS, MOST_CLICKS, MOST_WAVES, FormHand

pytestmark = pytest.mark.django_db


@pytest.fixture
def app():
    """The site as the server calls it, in this test's own transaction: no request ends the connection."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield TestApp(get_wsgi_application(), extra_environ={"HTTP_HOST": "testserver"})
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.mark.parametrize("name", bringing.TRUTHS)
def test_an_ugly_sheet_comes_in_within_25_clicks_12_answers_and_two_waves(client, app, name):
    truth = bringing.truth_of(name)
    site = bringing.the_pumps(truth)
    if before := truth.get("after"):
        assert bringing.bring(bringing.truth_of(before)).ok
    client.force_login(makers.an_account(site=site))
    app.set_cookie(settings.SESSION_COOKIE_NAME, client.cookies[settings.SESSION_COOKIE_NAME].value)
    hand = FormHand(name, app)
    hand.bring(truth)
    assert bringing.readings() == sorted(truth["readings"])
    assert bringing.events() == sorted(truth["events"])
    assert bringing.hours() == sorted(truth["hours"])
    print(f"{name}: {hand.n} clicks, {hand.n_answers} answers, {hand.n_waves} waves")
    assert hand.n <= MOST_CLICKS and hand.n_answers <= MOST_ANSWERS and hand.n_waves <= MOST_WAVES
