"""What is said of steps that are held, guarded or to be confirmed again: to the bay, and as a verb's refusal."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from jobs.holding import guarded, held_by
from jobs.models import JobStep


def why_held(steps: Sequence[JobStep], step: JobStep) -> str:
    """Which step keeps this one closed, and what to do; empty when none does."""
    holding = held_by(steps, step)
    if holding is None:
        return ""
    named = {"number": holding.position, "step": str(holding)}
    if holding.again:
        return _("First confirm step %(number)s, “%(step)s”, again.") % named
    if holding.hold_point:
        return _("First confirm step %(number)s, “%(step)s”: it must be checked first.") % named
    return _("First do step %(number)s, “%(step)s”: this step needs it.") % named


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
