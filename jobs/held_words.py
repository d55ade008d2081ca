"""How it is said that a step is closed."""

from django.utils.translation import gettext as _

from jobs.models import JobStep


def why_held(holding: JobStep) -> str:
    """Why the steps after `holding` are closed, and what opens them."""
    said = {"number": holding.position, "title": str(holding)}
    if holding.stopped:
        return _("Step %(number)s, “%(title)s”, stopped the work: write first what is to be done about it.") % said
    return _("First confirm step %(number)s, “%(title)s”: it must be checked first.") % said


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
