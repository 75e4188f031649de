"""What is kept of sheets: the files themselves, reading plans by name and version, and answers."""

import hashlib
import uuid
from collections.abc import Iterable
from typing import Any

from django.db.models import Max, Q, QuerySet

from fleet.importing.answers import Answers
from fleet.importing.reading_plans.reading_plan import Plan, plan_of
from fleet.ledger.writing import Fact, write
from fleet.models import Answer, ReadingPlan, Role, Sheet, StoredFile
from fleet.models.recorded import IN_ORDER


def digest_of(data: bytes) -> str:
    """By what a file is known."""
    return hashlib.sha256(data).hexdigest()


def keep_file(data: bytes) -> StoredFile:
    """The file's bytes in the record, once however often it comes."""
    file, _ = StoredFile.objects.get_or_create(
        sha256=digest_of(data), defaults={"size": len(data), "data": data}
    )
    return file


# plans -----------------------------------------------------------------------------------------------------


def plan_named(name: str) -> tuple[ReadingPlan, Plan] | None:
    """The latest version of a plan.

    Raises
    ------
    ValueError
        where the plan was written by another version and cannot be read.
    """
    row = ReadingPlan.objects.standing().filter(name=name).order_by("-version").first()
    return (row, plan_of(row.body)) if row else None


def keep_plan(name: str, plan: Plan, *, by: uuid.UUID, act: uuid.UUID | None = None) -> ReadingPlan:
    """A plan under its name: a new version where it differs from the last, else the last."""
    name = " ".join(name.split())
    known = plan_named(name)
    if known and known[0].body == plan.body():
        return known[0]
    last = ReadingPlan.objects.filter(name=name).aggregate(top=Max("version"))["top"] or 0
    row = ReadingPlan(name=name, version=last + 1, body=plan.body())
    write([Fact("plant", "reading_plan", row=row)], by=by, act=act)
    return row


def plan_names(sites: frozenset[uuid.UUID] | None = None) -> list[str]:
    """Names of the plans that stand and are known at some of the sites (None: at all), in order."""
    return list(_plans_at(sites).order_by("name").values_list("name", flat=True).distinct())


def _plans_at(sites: frozenset[uuid.UUID] | None) -> "QuerySet[ReadingPlan]":
    """Plans that a sheet of these sites came by, or that somebody with a role there keeps."""
    plans: QuerySet[ReadingPlan] = ReadingPlan.objects.standing()
    if sites is None:
        return plans
    people = Role.objects.standing().filter(Q(site__in=sites) | Q(site=None)).values("person")
    used = Sheet.objects.standing().filter(site__in=sites).values("plan__name")
    return plans.filter(Q(recorded_by__in=people) | Q(name__in=used))


def plans_kept(sites: frozenset[uuid.UUID] | None = None) -> list[ReadingPlan]:
    """The latest version of every plan that stands and is known at some of the sites
    (None: at all), by name.
    """
    latest: dict[str, ReadingPlan] = {}
    for row in _plans_at(sites).order_by("name", "version"):
        latest[row.name] = row
    return list(latest.values())


# answers ---------------------------------------------------------------------------------------------------


def answers_for(data: bytes, name: str, holds: str, sites: frozenset[uuid.UUID] | None = None) -> Answers:
    """What was answered before: about this very file, or about one of this name whose import stands.

    Parameters
    ----------
    sites : frozenset of UUID, optional
        answers of other sites' sheets are not used; None: of all.
    """
    sheets = Sheet.objects.standing().filter(name=name[-200:], holds=holds)
    if sites is not None:
        sheets = sheets.filter(site__in=sites)
    of_files = Q(file=digest_of(data)) | Q(file__in=sheets.values("file"))
    answers = Answers()
    for key, said in (
        Answer.objects.standing().filter(of_files).order_by(*IN_ORDER).values_list("question", "answer")
    ):
        answers.add_said(key, said)
    return answers


def answer_facts(file: StoredFile, answers: Answers, chain: str) -> Iterable[Fact]:
    """The answers that this file does not have yet."""
    known: dict[str, Any] = {}
    rows = Answer.objects.standing().filter(file=file).order_by(*IN_ORDER)
    for key, said in rows.values_list("question", "answer"):
        known[key] = said
    for key, said in answers:
        if known.get(key) != said:
            yield Fact(chain, "answer", row=Answer(file=file, question=key, answer=said))
