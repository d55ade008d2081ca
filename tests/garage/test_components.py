"""The pieces pages are made of: they escape, they speak to screen readers, and a double tap stays one act."""

import re
import uuid
from typing import Any

import pytest
from django import forms
from django.contrib.messages import constants
from django.contrib.messages.storage.base import Message
from django.template import Context, Template
from django.test import RequestFactory

from garage.markup import attributes

BAD = "<script>alert(1)</script>"


def show(source: str, **context: Any) -> str:
    """Render a piece of a template."""
    return Template(source).render(Context({"bad": BAD, **context}))


class Line(forms.Form):
    what = forms.CharField(label="What")
    quantity = forms.CharField(widget=forms.TextInput(attrs={"inputmode": "decimal"}), help_text="Like 3/4 qt.")
    note = forms.CharField(required=False)
    condition = forms.ChoiceField(widget=forms.RadioSelect, choices=[("new", "new"), ("used", "used")])
    agreed = forms.BooleanField(required=False)
    job = forms.IntegerField(widget=forms.HiddenInput, initial=7)


@pytest.mark.parametrize(
    "source",
    [
        "{% sheet_title bad bad stage=bad %}",
        "{% section bad words=bad %}{{ bad }}{% endsection %}",
        "{% beside bad %}{{ bad }}{% endbeside %}",
        "{% warn word=bad %}{{ bad }}{% endwarn %}",
        "{% note word=bad %}{{ bad }}{% endnote %}",
        "{% empty bad %}{{ bad }}{% endempty %}",
        "{% why bad %}{{ bad }}{% endwhy %}",
        "{% facts %}{% fact bad bad bad %}{% endfacts %}",
        "{% table bad %}{% figure bad bad bad %}{% cell bad bad bad bad %}{% endtable %}",
        "{% list_row bad bad bad bad bad bad %}{{ bad }}{% endlist_row %}",
        "{% filterbox bad value=bad action=bad %}{{ bad }}{% endfilterbox %}",
        "{% foot %}{% sum bad bad %}{% total bad bad bad %}{% act bad href=bad title=bad %}{% endfoot %}",
        "{% act bad post=bad value=bad %}",
        "{% step bad by=bad href=bad number=bad %}",
        "{% open_step bad bad %}{% big bad bad %}{% endopen_step %}",
        "{% document_status 'waiting' bad label=bad %}{% document_status 'ready' bad bad bad %}",
        "{% pager bad bad %}{% stage bad %}",
    ],
)
def test_what_people_typed_is_never_markup(source: str) -> None:
    shown = show(source)
    assert "&lt;script&gt;" in shown
    assert "<script" not in shown


@pytest.mark.parametrize("name", ["onclick", "style", "hx_on", "hx-on:click", "hx_on__click"])
def test_an_inline_handler_is_refused_where_it_is_written(name: str) -> None:
    with pytest.raises(ValueError, match="content policy"):
        attributes({name: "x"})


def test_an_attribute_that_says_nothing_is_left_out() -> None:
    assert attributes({"id": "", "hidden": True, "open": False, "class_": None, "data_x": 0}) == ' hidden data-x="0"'


def test_a_form_with_errors_says_what_and_leads_to_it() -> None:
    form = Line({"what": "", "quantity": "1", "condition": "new"})
    summary, field = show("{% form_errors form %}", form=form), show("{% field form.what %}", form=form)
    assert 'role="alert"' in summary
    assert 'href="#id_what"' in summary
    assert 'aria-invalid="true"' in field
    described = re.search(r'aria-describedby="([^"]+)"', field)
    assert described is not None
    assert f'id="{described[1]}"' in field


def test_a_form_without_errors_has_no_summary() -> None:
    assert show("{% form_errors form %}", form=Line()) == ""


def test_a_figure_is_told_its_keyboard_its_help_and_its_other_unit() -> None:
    field = show('{% field form.quantity both="0.946 L" %}', form=Line())
    assert 'class="field figure' in field
    assert 'inputmode="decimal"' in field
    assert 'aria-describedby="id_quantity_both id_quantity_helptext"' in field
    assert ">0.946 L</output>" in field


def test_what_may_stay_empty_says_so() -> None:
    assert "optional" in show("{% field form.note %}", form=Line())
    assert "optional" not in show("{% field form.what %}{% field form.agreed %}", form=Line())


def test_choices_are_a_group_with_a_legend() -> None:
    field = show("{% field form.condition %}", form=Line())
    assert field.startswith("<fieldset")
    assert "<legend>Condition</legend>" in field


def test_all_fields_bring_the_hidden_ones_and_named_fields_do_not() -> None:
    assert 'name="job"' in show("{% fields form %}", form=Line())
    assert 'name="job"' not in show('{% fields form "what" %}', form=Line())


def test_every_label_has_its_control() -> None:
    shown = show("{% fields form %}", form=Line())
    ids = set(re.findall(r'\sid="([^"]+)"', shown))
    assert set(re.findall(r'<label for="([^"]+)"', shown)) <= ids


def test_an_act_that_writes_is_a_post_with_a_key_of_its_own() -> None:
    acts = show('{% act "Order" post="/a/" %}{% act "Order" post="/b/" %}', csrf_token="abc")
    keys = re.findall(r'name="key" value="([^"]+)"', acts)
    assert acts.count('method="post"') == acts.count('value="abc"') == 2
    assert len({uuid.UUID(key) for key in keys}) == 2


def test_htmx_attributes_of_a_posting_act_stand_on_its_form() -> None:
    acted = show('{% act "Order" post="/a/" hx_post="/a/" hx_target="#rows" title="two packs" %}')
    assert acted.startswith('<form method="post" action="/a/" hx-post="/a/" hx-target="#rows">')
    assert '<button class="act" title="two packs">' in acted


def test_a_form_shown_again_keeps_its_key() -> None:
    key = str(uuid.uuid4())
    again = show("{% submit_key %}", request=RequestFactory().post("/", {"key": key}))
    assert f'value="{key}"' in again
    forged = show("{% submit_key %}", request=RequestFactory().post("/", {"key": BAD}))
    assert BAD not in forged
    assert str(uuid.UUID(re.findall(r'value="([^"]+)"', forged)[0])) in forged


def test_a_document_asks_until_it_is_there_and_no_longer() -> None:
    assert 'hx-trigger="every 1s"' in show('{% document_status "waiting" "/doc/" %}')
    ready = show('{% document_status "ready" "/doc/" "/doc.pdf" "Invoice 1" %}')
    assert "hx-" not in ready
    assert 'href="/doc.pdf"' in ready
    failed = show('{% document_status "failed" "/doc/" label="Invoice 1" %}')
    assert "hx-" not in failed
    assert "Invoice 1 could not be made." in failed


def test_a_message_can_bring_its_undo() -> None:
    line = Message(constants.SUCCESS, "Line removed.", extra_tags="undo:/lines/3/undo/")
    shown = show("{% message_line message %}", message=line, csrf_token="abc")
    assert 'action="/lines/3/undo/"' in shown
    elsewhere = Message(constants.SUCCESS, "Line removed.", extra_tags="undo://example.com/")
    assert "<form" not in show("{% message_line message %}", message=elsewhere)


def test_a_step_says_its_state_in_words() -> None:
    for state, words in [("done", "Done:"), ("held", "Held:"), ("skipped", "Not done:")]:
        assert words in show(f'{{% step "Drain" "{state}" %}}')


def test_the_pad_is_hidden_until_its_script_runs_and_every_key_has_a_name() -> None:
    shown = show('{% pad form.quantity unit="N·m" %}', form=Line())
    assert re.search(r'class="pad"[^>]* hidden', shown)
    assert set(re.findall(r'data-digit="([^"]+)"', shown)) == set("0123456789.")
    assert 'aria-label="Erase"' in shown


def test_nothing_blocks_and_no_pages_leave_no_trace() -> None:
    assert show("{% blocks %} {% endblocks %}{% pager %}") == ""


def test_a_long_table_scrolls_in_a_region_with_a_name() -> None:
    shown = show('{% table "Owed by age" stack=False %}{% endtable %}')
    assert 'role="region" aria-label="Owed by age" tabindex="0"' in shown
