"""Long work: asked once, done once, told how it ended."""

import datetime as dt
import io
import time

import pytest
from django.core.management import call_command

from fleet import background_jobs
from fleet.clock import now
from fleet.models import Job
from tests import makers

pytestmark = pytest.mark.django_db


@pytest.fixture
def counting(monkeypatch):
    """A kind of work that counts how often it was done and fails where it is told to."""
    done = []

    def do(job, tell):
        tell(1, 2)
        done.append(job.wanted.get("what"))
        if job.wanted.get("what") == "impossible":
            raise background_jobs.Undone("There is nothing to count. Bring a sheet first.")
        if job.wanted.get("what") == "broken":
            raise ZeroDivisionError
        return background_jobs.Done("Counted.", "/")

    monkeypatch.setitem(background_jobs.WORKS, "count", background_jobs.Work("count", "counting", do))
    return done


def ask(what, by):
    return background_jobs.ask("count", by=by, wanted={"what": what})


def test_the_same_work_that_waits_is_asked_for_once(counting):
    by = makers.an_account()
    assert ask("a", by) == ask("a", by)
    assert ask("b", by) != ask("a", by)
    assert ask("a", makers.an_account()) != ask("a", by)


def test_six_people_who_ask_for_new_dates_ask_for_one_job_and_all_see_it(client):
    asked = []
    for _ in range(6):
        client.force_login(makers.an_account())
        page = client.post("/dates-anew/", follow=True)
        assert page.status_code == 200 and "Waiting" in page.content.decode()
        asked.append(page.redirect_chain[-1][0])
    assert len(set(asked)) == Job.objects.count() == 1


def test_nobody_sees_a_job_of_somebody_else_where_it_does_not_answer_all(client, counting):
    job = ask("a", makers.an_account())
    client.force_login(makers.an_account())
    assert client.get(f"/jobs/{job.pk}/").status_code == 404


def test_jobs_are_done_in_the_order_in_which_they_were_asked_for_and_tell_how_they_ended(counting):
    by = makers.an_account()
    first, second, third = (ask(what, by) for what in ("a", "impossible", "broken"))
    said = io.StringIO()
    call_command("worker", "--once", stdout=said)
    assert counting == ["a", "impossible", "broken"]
    for job in (first, second, third):
        job.refresh_from_db()
    assert (first.state, first.said, first.address, first.done, first.of) == ("done", "Counted.", "/", 1, 2)
    assert (second.state, second.said) == ("failed", "There is nothing to count. Bring a sheet first.")
    assert third.state == "failed" and "ZeroDivisionError" in third.said
    assert said.getvalue().endswith("3 jobs done.\n")
    assert background_jobs.do_next() is None


def test_work_of_a_worker_that_fell_silent_is_given_up_and_said_so(counting):
    job = ask("a", makers.an_account())
    Job.objects.filter(pk=job.pk).update(state="running", beat_at=now() - dt.timedelta(seconds=61))
    assert background_jobs.do_next() is None
    job.refresh_from_db()
    assert job.state == "failed" and "ask again" in job.said


def test_work_of_a_kind_nobody_knows_is_refused():
    with pytest.raises(LookupError, match="no long work is called 'dance'"):
        background_jobs.ask("dance", by=None)


def test_the_dates_are_worked_out_by_the_worker_and_the_page_tells_when(client):
    engineer = makers.an_account()
    makers.a_reading(bearing=makers.a_bearing())
    client.force_login(engineer)
    waiting = client.post("/dates-anew/", follow=True)
    page = waiting.content.decode()
    assert "Waiting" in page and 'http-equiv="refresh"' in page
    call_command("worker", "--once", stdout=io.StringIO())
    page = client.get(waiting.redirect_chain[-1][0]).content.decode()
    assert "The dates of 1 bearings are worked out anew" in page and 'http-equiv="refresh"' not in page


def test_who_only_reads_may_not_ask_for_new_dates(client):
    client.force_login(makers.an_account(role="reader"))
    assert client.post("/dates-anew/").status_code == 403
    assert not Job.objects.exists()


def test_a_page_says_when_nobody_does_the_work(client, counting):
    by = makers.an_account()
    job = ask("a", by)
    Job.objects.filter(pk=job.pk).update(asked_at=now() - dt.timedelta(seconds=20))
    client.force_login(by)
    assert "manage.py worker" in client.get(f"/jobs/{job.pk}/").content.decode()


def test_a_job_whose_worker_was_killed_says_within_a_minute_that_nobody_works_on_it(client, counting):
    by = makers.an_account()
    job = ask("a", by)
    client.force_login(by)
    for silent_s, told in ((30, False), (61, True)):
        beat = now() - dt.timedelta(seconds=silent_s)
        Job.objects.filter(pk=job.pk).update(state="running", begun_at=beat, beat_at=beat)
        assert ("gives no sign of life" in client.get(f"/jobs/{job.pk}/").content.decode()) is told


@pytest.mark.django_db(transaction=True)
def test_a_long_job_gives_signs_of_life_while_it_is_done(monkeypatch):
    monkeypatch.setattr(background_jobs, "BEAT_S", 0.02)
    beats = []

    def do(job, tell):
        for _ in range(200):
            beats.append(Job.objects.values_list("beat_at", flat=True).get(pk=job.pk))
            if len(set(beats)) > 2:
                break
            time.sleep(0.02)
        return background_jobs.Done("Waited.")

    monkeypatch.setitem(background_jobs.WORKS, "count", background_jobs.Work("count", "counting", do))
    ask("a", None)
    assert background_jobs.do_next().state == "done" and len(set(beats)) > 2
