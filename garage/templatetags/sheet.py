"""The pieces a page is made of. Each escapes what it is given; none formats a number."""

from typing import Any

from django import template
from django.template import Context
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from garage.access import may
from garage.cuts import ALL, Cut
from garage.markup import attributes, named
from garage.web import TYPED, page_address

register = template.Library()

PLACES = {
    "today": gettext_lazy("Today"),
    "counter": gettext_lazy("Counter"),
    "bay": gettext_lazy("Bay"),
    "shelf": gettext_lazy("Shelf"),
    "books": gettext_lazy("Books"),
}


# The frame


@register.inclusion_tag("components/places.html", takes_context=True)
def places(context: Context, current: str = "") -> dict[str, Any]:
    """The places this user may enter; the current one is named, or the one whose address begins the path."""
    request = context.get("request")
    path = request.path if request else ""
    links = [
        (name, reverse(name), words) for name, words in PLACES.items() if may(getattr(request, "user", None), name)
    ]
    if not current:
        fitting = [name for name, url, _words in links if path == url or (url != "/" and path.startswith(url))]
        current = fitting[-1] if fitting else ""
    return {"links": links, "current": current}


@register.simple_tag
def sheet_title(heading: str, *facts: str, stage: str = "", late: object = False) -> SafeString:
    """The sheet's title line: heading, facts beside it, and whom or what it waits for; as a warning when `late`."""
    beside = format_html_join("", "<span>{}</span>", ((fact,) for fact in facts if fact))
    framed = stage_frame(stage, late=late) if stage else ""
    return format_html('<header class="title"><h1>{}</h1>{}{}</header>', heading, beside, framed)


@register.simple_tag(name="stage")
def stage_frame(sentence: str, late: object = False) -> SafeString:
    """The stage of a job as a framed sentence; in the warning's ink and with its shape when it is `late`."""
    return format_html('<span class="stage{}">{}</span>', " late" if late else "", sentence)


@register.simple_tag
def late(words: str, more: str = "") -> SafeString:
    """What is past its limit: the warning ink, its shape and the words, with by how much; nothing without words."""
    if not words:
        return SafeString("")
    below = format_html("<small>{}</small>", more) if more else ""
    return format_html('<b class="late">{}{}</b>', words, below)


@register.simple_block_tag
def within(content: str, label: str = "") -> SafeString:
    """A second row of links, inside one place."""
    return format_html('<nav aria-label="{}"><ul class="within">{}</ul></nav>', label or _("In this place"), content)


@register.simple_tag(takes_context=True)
def within_link(context: Context, label: str, url: str, current: bool | None = None) -> SafeString:
    """One link of `within`; current when it says so or when the path is its address."""
    request = context.get("request")
    here = current if current is not None else bool(request and request.path == url)
    return format_html(
        '<li><a href="{}"{}>{}</a></li>', url, attributes({"aria_current": "page" if here else ""}), label
    )


# Parts of a sheet


@register.simple_block_tag
def section(content: str, heading: str, id: str = "", level: int = 2, words: str = "") -> SafeString:
    """A ruled section with its heading and, if given, a faint sentence under it."""
    said = format_html('<p class="words">{}</p>', words) if words else ""
    return format_html(
        '<section class="section"{0}><h{1}>{2}</h{1}>{3}{4}</section>',
        attributes({"id": id}),
        level,
        heading,
        said,
        content,
    )


@register.simple_block_tag
def margin(content: str, label: str = "") -> SafeString:
    """The margin: what blocks first, then what the reader would otherwise look up."""
    return format_html('<aside class="margin" aria-label="{}">{}</aside>', label or _("Beside the work"), content)


@register.simple_block_tag
def blocks(content: str) -> SafeString:
    """What blocks the work: warnings at the top of the margin, above everything on a narrow screen."""
    return format_html('<div class="blocks">{}</div>', content) if content.strip() else SafeString("")


@register.simple_block_tag
def beside(content: str, heading: str) -> SafeString:
    """A headed group in the margin."""
    return format_html("<section><h2>{}</h2>{}</section>", heading, content)


@register.simple_block_tag
def foot(content: str) -> SafeString:
    """The double-ruled foot: sums, the total, the next act."""
    return format_html('<footer class="foot">{}</footer>', content)


@register.simple_tag(name="sum")
def sum_of(label: str, amount: str) -> SafeString:
    """One of the sums at the foot's start."""
    return format_html('<span class="sum">{} <b>{}</b></span>', label, amount)


@register.simple_tag
def total(amount: str, label: str = "", other: str = "", **attrs: Any) -> SafeString:
    """The one large figure of the foot."""
    below = format_html("<small>{}</small>", other) if other else ""
    words = label or _("Total")
    return format_html('<p class="total"{}><span>{}</span><b>{}</b>{}</p>', attributes(attrs), words, amount, below)


@register.simple_block_tag
def warn(content: str, word: str = "", live: bool = False) -> SafeString:
    """A warning: brick, with a shape and a word. `live` has it read out when it arrives."""
    role = "alert" if live else "note"
    return format_html('<div class="warn" role="{}"><b>{}</b>{}</div>', role, word or _("Caution"), content)


@register.simple_block_tag
def note(content: str, word: str = "") -> SafeString:
    """A quiet note."""
    return format_html('<div class="note">{}{}</div>', format_html("<b>{}</b>", word) if word else "", content)


@register.simple_block_tag
def empty(content: str, heading: str) -> SafeString:
    """What stands where nothing is yet: what will be here, and the act that brings it."""
    return format_html('<div class="empty"><h2>{}</h2>{}</div>', heading, content)


@register.simple_block_tag
def why(content: str, summary: str) -> SafeString:
    """The folded explanation of a computed figure: from what, by which rule, which source."""
    return format_html('<details class="why"><summary>{}</summary><div>{}</div></details>', summary, content)


@register.simple_block_tag
def facts(content: str) -> SafeString:
    """Definition rows."""
    return format_html('<dl class="facts">{}</dl>', content)


@register.simple_tag
def fact(term: str, value: Any, other: str = "") -> SafeString:
    """One definition row; nothing for a value that is missing."""
    if value is None or value == "":
        return SafeString("")
    return format_html("<div><dt>{}</dt><dd>{}</dd></div>", term, two(value, other))


@register.simple_tag
def two(value: Any, other: str = "", limits: str = "", inline: bool = False) -> SafeString:
    """A value with the same in the other unit, small, below or beside it, and its limits on a line of their own."""
    below = format_html_join("", "<small>{}</small>", ((small,) for small in (other, limits) if small))
    return format_html('<span class="two{}">{}{}</span>', " inline" if inline else "", value, below)


# Tables and lists


@register.simple_block_tag
def table(content: str, caption: str, stack: bool = True) -> SafeString:
    """A table in its box: on a narrow screen its rows stack, or the box scrolls sideways as a named region."""
    words = format_html('<caption class="visually-hidden">{}</caption>', caption)
    if stack:
        return format_html('<div class="tablebox"><table class="stack">{}{}</table></div>', words, content)
    return format_html(
        '<div class="tablebox scrolls" role="region" aria-label="{}" tabindex="0"><table>{}{}</table></div>',
        caption,
        words,
        content,
    )


@register.simple_tag
def figure(label: str, value: Any, other: str = "", lead: bool = False) -> SafeString:
    """A cell with a number, the other unit small below; `lead`: on a phone it stands first, else the last one does."""
    below = format_html("<small>{}</small>", other) if other else ""
    shown = "" if value is None else value
    css = "n lead" if lead else "n"
    return format_html('<td class="{}" data-label="{}">{}{}</td>', css, label, shown, below)


@register.simple_tag
def cell(
    label: str,
    value: Any,
    small: str = "",
    href: str = "",
    whole: bool = False,
    headed: bool = False,
    of: Any = "",
) -> SafeString:
    """A cell with words, a small second line, and a link when there is one.

    `whole`: it stays on one line; `headed`: on a phone its heading stands before it; `of` tells its link from others.
    """
    shown = "" if value is None else value
    words = format_html('<a href="{}">{}</a>', href, named(shown, of)) if href else shown
    if small:
        words = format_html("{}<small>{}</small>", words if href else format_html("<span>{}</span>", words), small)
    css = " ".join(filter(None, ["nowrap" if whole else "", "headed" if headed and words else ""]))
    return format_html('<td{} data-label="{}">{}</td>', attributes({"class": css}), label, words)


@register.simple_block_tag
def list_row(
    content: str,
    heading: str,
    small: str = "",
    href: str = "",
    figure: str = "",
    other: str = "",
    stage: str = "",
    past: str = "",
    of: str = "",
) -> SafeString:
    """One row of a short list: words, how far past its limit, whom it waits for, a figure, one act.

    `of` tells its link from others with the same words.
    """
    words = format_html('<a href="{}">{}</a>', href, named(heading, of)) if href else heading
    below = format_html("<small>{}</small>", small) if small else ""
    framed = stage_frame(stage) if stage else ""
    number = format_html('<div class="figure">{}</div>', two(figure, other)) if figure else ""
    pressed = format_html('<div class="row-act">{}</div>', content) if content.strip() else ""
    said = format_html("{}{}{}{}", words, below, late(past), framed)
    return format_html('<li><div class="row-words">{}</div>{}{}</li>', said, number, pressed)


@register.simple_block_tag(takes_context=True)
def filterbox(
    context: Context,
    content: str,
    label: str,
    action: str = "",
    name: str = "q",
    value: str = "",
    target: str = "#rows",
) -> SafeString:
    """A GET filter that narrows `target` while somebody types, and works by Enter without JavaScript."""
    request = context.get("request")
    address = action or (request.path if request else "")
    live = {
        "hx_get": address,
        "hx_target": target,
        "hx_trigger": "input changed delay:250ms from:find input, change, submit",
        "hx_push_url": "true",
        "hx_sync": "this:replace",
    }
    return format_html(
        '<form class="filterbox" role="search" action="{}"{}><div class="field"><label for="filter-{}">{}</label>'
        '<input type="search" id="filter-{}" name="{}" value="{}" maxlength="{}" autocomplete="off"></div>{}'
        '<button class="act quiet small">{}</button></form>',
        address,
        attributes(live),
        name,
        label,
        name,
        name,
        value or "",
        TYPED,
        content,
        _("Filter"),
    )


@register.simple_tag
def pager(newer: str = "", older: str = "", back: str = "", on: str = "") -> SafeString:
    """Links to the newer and the older page of a long list; `back` and `on` name them where it has another order."""
    if not newer and not older:
        return SafeString("")
    before = format_html('<a href="{}" rel="prev">{}</a>', newer, back or _("Newer")) if newer else ""
    after = format_html('<a href="{}" rel="next">{}</a>', older, on or _("Older")) if older else ""
    return format_html('<nav class="pager" aria-label="{}">{}{}</nav>', _("Pages"), before, after)


@register.simple_tag(takes_context=True)
def shown_of(context: Context, rows: Cut[Any], href: str = "", hint: str = "") -> SafeString:
    """Says that a list is cut and where all of it is: `href`, else the same page with all; `hint` in place of a link.

    Nothing when all of it is shown.
    """
    if not rows.more:
        return SafeString("")
    if rows.total is None:
        said = _("The first %(shown)s are shown, there are more.") % {"shown": len(rows)}
    else:
        said = _("%(shown)s of %(total)s shown.") % {"shown": len(rows), "total": rows.total}
    if hint:
        return format_html('<p class="cut faint" role="status">{} {}</p>', said, hint)
    label = _("Show all") if rows.total is None else _("Show all %(total)s") % {"total": rows.total}
    request = context.get("request")
    address = href or page_address(request, **{ALL: 1}) if request else href
    return format_html('<p class="cut"><span class="faint">{}</span> <a href="{}">{}</a></p>', said, address, label)


# The bay


STEP_STATES = {  # mark in the box, word before the step
    "done": ("tick", ""),
    "later": ("", ""),
    "held": ("", gettext_lazy("Held:")),
    "skipped": ("dash", gettext_lazy("Not done:")),
    "again": ("", gettext_lazy("Confirm again:")),
}


@register.simple_tag
def step(
    words: str, state: str = "later", by: str = "", href: str = "", number: str | int = "", id: str = ""
) -> SafeString:
    """A closed step of a list: what, its state in mark and word, who and when."""
    mark, word = STEP_STATES[state]
    row = "a" if href else "div"
    said = format_html('<span class="state">{}</span> ', word) if word else ""
    read = format_html('<span class="visually-hidden">{}</span>', _("Done:")) if state == "done" else ""
    return format_html(
        '<li class="step {0}"{1}><{2} class="step-row"{3}><span class="box {4}" aria-hidden="true">{5}</span>'
        "<span>{6}{7}{8}</span>{9}</{2}></li>",
        state,
        attributes({"id": id}),
        row,
        attributes({"href": href}),
        mark,
        "" if mark else number,
        read,
        said,
        words,
        format_html("<small>{}</small>", by) if by else "",
    )


@register.simple_block_tag
def open_step(
    content: str, label: str, heading: str, id: str = "", *, plate: str = "", work: str = "", of: str = ""
) -> SafeString:
    """The open step, enlarged: a bar with the car, the operation and how far it is; what to do, and room for the rest.

    The bar goes with the step, so that a screen that shows nothing else still says which car it is.
    """
    bar = (("b", plate), ("span", work), ('span class="of"', of))
    told = ((SafeString(tag), said, tag.split()[0]) for tag, said in bar if said)
    return format_html(
        '<li class="step open" aria-current="step"{}>{}<p class="label">{}</p><h2>{}</h2>{}</li>',
        attributes({"id": id}),
        format_html('<p class="step-bar">{}</p>', format_html_join(" ", "<{}>{}</{}>", told)),
        label,
        heading,
        content,
    )


@register.simple_tag
def big(value: str, other: str = "", limits: str = "") -> SafeString:
    """A number to be read from two meters, under it the other unit and, on a line of its own, the limits."""
    below = format_html_join("", "<small>{}</small>", ((small,) for small in (other, limits) if small))
    words = "" if value[:1].isdigit() else " words"
    return format_html('<p class="big{}"><b>{}</b>{}</p>', words, value, below)
