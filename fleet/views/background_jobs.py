"""How a piece of long work stands: waiting, how far, how it ended."""

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from fleet import background_jobs
from fleet.access import may
from fleet.models import Job

LOOKS_AGAIN_S = 3


@require_safe
def job(request: HttpRequest, job_id: UUID) -> HttpResponse:
    """One's own job, or one that answers whoever may ask for it; the page looks again by itself until the
    work is over.
    """
    found = get_object_or_404(Job, pk=job_id)
    work = background_jobs.WORKS[found.kind]
    if found.by != request.user and not (work.right and may(request.user, work.right)):
        raise Http404
    context = {
        "job": found,
        "words": work.words,
        "no_worker": background_jobs.waits_for_a_worker(found),
        "n_before": Job.objects.filter(state=Job.State.WAITING, asked_at__lt=found.asked_at).count(),
        "again_s": None if found.is_over else LOOKS_AGAIN_S,
    }
    return render(request, "fleet/job.html", context)
