"""What is said of steps that are closed, guarded or to be confirmed again: to the bay, and as a verb's refusal."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from jobs.holding import guarded, held_by
from jobs.models import JobStep


def why_held(holding: JobStep) -> str:
    """Why the steps after `holding` are closed, and what opens them."""
    said = {"number": holding.position, "title": str(holding)}
    if holding.stopped:
        return _("Step %(number)s, “%(title)s”, stopped the work: write first what is to be done about it.") % said
    if holding.again:
        return _("First confirm step %(number)s, “%(title)s”, again.") % said
    if holding.hold_point:
        return _("First confirm step %(number)s, “%(title)s”: it must be checked first.") % said
    return _("First do step %(number)s, “%(title)s”: this step needs it.") % said


def what_holds(steps: Sequence[JobStep], step: JobStep) -> str:
    """Why a step is closed; empty when it is not."""
    holding = held_by(steps, step)
    return why_held(holding) if holding is not None else ""


def why_not_skipped(steps: Sequence[JobStep], step: JobStep) -> str:
    """Why a step cannot be skipped, and the ways there are; empty when it can."""
    if not guarded(steps, step):
        return ""
    ways = _("Say that it can’t be done, or have a second person confirm it.")
    if step.hold_point:
        return f"{_('“%(step)s” must be checked and cannot be skipped.') % {'step': step}} {ways}"
    if step.refuses_outside:
        return f"{_('The limits of “%(step)s” must be kept: it cannot be skipped.') % {'step': step}} {ways}"
    return f"{_('Other steps need “%(step)s”: it cannot be skipped.') % {'step': step}} {ways}"


def confirm_again(step: JobStep) -> str:
    """That a done step is to be confirmed once more."""
    named = {"number": step.position, "step": str(step)}
    return _("confirm step %(number)s, “%(step)s”, again: a step it stands on was reopened.") % named


def stop_words(step: JobStep) -> str:
    """What a bad sample means for the work: that it is stopped, or who said that it goes on; else nothing."""
    sample = getattr(step, "sample", None)
    if sample is None or not sample.stops:
        return ""
    seen = f"{step}: {sample.get_verdict_display()}, {sample.described}."
    if sample.waits:
        return f"{seen} {_('Nothing is done after it until somebody has said what is to be done.')}"
    said = _("%(person)s was told by %(by)s and said: “%(words)s”")
    return f"{seen} {said % {'person': sample.told, 'by': sample.told_by or '', 'words': sample.told_words}}"
