"""Acts on a step: ticked, unticked, skipped, noted, photographed. Each answers with the list of steps."""

from django.contrib import messages
from django.contrib.auth import authenticate
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from garage.access import actor_of, allowed
from garage.errors import Refused
from garage.models import User
from garage.web import after_post, attempt, render_page, wants_fragment
from jobs.access import step_for
from jobs.access_bay import bay_job_for
from jobs.actions.evidence import answer_sample, photograph_step
from jobs.actions.steps import APPLIED, CONFLICT, act
from jobs.forms_bay import StepPhotoForm
from jobs.forms_steps import ACT_FORMS, ActForm, SampleAnswerForm, act_form
from jobs.models import FluidSample, JobStep, StepEvent
from jobs.views.bay import WRITE, work_page


@sensitive_post_parameters("password")
@allowed("bay")
@require_POST
def act_on_step(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    """Do one act on a step; a refusal shows the step again with what was typed and the sentence beside it."""
    if kind not in ACT_FORMS:
        raise Http404
    step = step_for(request, pk)
    form = act_form(kind, step, request.POST)
    event = attempt(
        form,
        lambda: act(
            event_id=form.cleaned_data["event"],
            step=step,
            kind=kind,
            base_version=form.cleaned_data["base_version"],
            data=form.words(),
            confirmed_by=_second_person(request, form),
            actor=actor_of(request),
            clock=timezone.now,
        ),
    )
    if event is not None:
        return _done(request, step, event)
    job = bay_job_for(request, step.operation.job_id)
    return work_page(request, job, chosen=step.pk, forms={kind: form}, status=422)


def _second_person(request: HttpRequest, form: ActForm) -> User | None:
    """Who logged in within the form to confirm the step; Refused when name and password do not go together.

    The log-in's own backends ask, so that wrong passwords are counted here as they are at the door.
    """
    if form.kind != StepEvent.Kind.CONFIRM:
        return None
    typed = form.cleaned_data
    person = authenticate(request, username=typed["username"], password=typed["password"])
    if not isinstance(person, User):
        raise Refused("This name and this password do not go together.", "password")
    return person


def _done(request: HttpRequest, step: JobStep, event: StepEvent) -> HttpResponse:
    """Show the next step; a conflict or a note stays at its own step, with the sentence about it."""
    url = reverse("jobs:bay-job", args=[step.operation.job_id])
    said = str(event.result["sentence"])
    outcome = event.result["outcome"]
    stays = outcome != APPLIED or event.kind == StepEvent.Kind.NOTE
    if wants_fragment(request):
        job = bay_job_for(request, step.operation.job_id)
        chosen, done = step.pk if stays else None, event if outcome != CONFLICT else None
        response = work_page(request, job, chosen=chosen, said=said, act=done)
        response["HX-Replace-Url"] = url
        return response
    if said:
        messages.warning(request, said)
    return after_post(request, f"{url}?step={step.pk}" if stays else url)


@allowed("bay")
@require_POST
def sample_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Say who was told of what a sample showed and what they said, so that the work goes on."""
    step = step_for(request, pk)
    sample = getattr(step, "sample", None)
    form = SampleAnswerForm(request.POST, sample=sample)

    def answer() -> FluidSample:
        assert sample is not None  # the form asked
        told = form.cleaned_data
        return answer_sample(
            sample=sample,
            person=told["told"],
            words=told["told_words"],
            actor=actor_of(request),
            clock=timezone.now,
        )

    answered = attempt(form, answer)
    job = bay_job_for(request, step.operation.job_id)
    if answered is None:
        return work_page(request, job, chosen=pk, forms={"answer": form}, status=422)
    if wants_fragment(request):
        return work_page(request, job, said=_("The answer is kept: the work goes on."))
    return after_post(request, reverse("jobs:bay-job", args=[job.pk]))


@allowed("bay")
@require_http_methods(WRITE)
def photo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a photo at a step."""
    step = step_for(request, pk)
    posted = request.method == "POST"
    form = StepPhotoForm(request.POST, request.FILES) if posted else StepPhotoForm()
    taken = posted and attempt(
        form,
        lambda: photograph_step(
            key=form.cleaned_data["key"],
            step=step,
            upload=form.cleaned_data["photo"],
            caption=form.cleaned_data["caption"],
            actor=actor_of(request),
            clock=timezone.now,
        ),
    )
    if taken:
        return after_post(request, reverse("jobs:bay-job", args=[step.operation.job_id]) + f"?step={step.pk}")
    context = {"form": form, "step": step}
    return render_page(request, "jobs/step_photo.html", context, status=422 if posted else 200)
