"""The program's own shape: imports and keys run one way, arithmetic is pure, pieces stay small.

Each rule is shown to catch what breaks it (the planted violations), so that none of them is a check that cannot fail.
"""

import ast
import re

import pytest
from django.apps import apps

from tests import architecture as arch

SOURCES = list(arch.sources())
EVERYTHING = list(arch.sources(tests=True))
TEMPLATES = list(arch.templates())


def flat(rule, files=SOURCES) -> list[str]:
    return [sentence for path, text in files for sentence in rule(path, text)]


def test_there_is_something_to_check() -> None:
    assert len(SOURCES) > 60 and len(TEMPLATES) > 20
    assert {path.partition("/")[0] for path, _ in SOURCES} == set(arch.APPS)


# One way: invoicing → jobs → parts → garage


def test_no_app_names_a_higher_one() -> None:
    assert flat(arch.upward) == []


def test_no_relative_import_hides_a_direction() -> None:
    relative = [(path, name) for path, text in EVERYTHING for name in arch.imports(ast.parse(text)) if name[0] == "."]
    assert relative == []


def test_no_relation_points_up() -> None:
    relations = [
        (model._meta.app_label, f"{model.__name__}.{field.name}", field.related_model._meta.app_label)
        for model in apps.get_models()
        for field in model._meta.get_fields()
        if field.is_relation and field.concrete and field.related_model
    ]
    assert len(relations) > 60
    assert arch.upward_relations(relations) == []


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("garage/a.py", "import jobs"),
        ("garage/a.py", "import jobs.models as m"),
        ("garage/a.py", "from invoicing.models import Invoice"),
        ("parts/a.py", "def f():\n    from jobs.models import Job"),
        ("jobs/a.py", "if TYPE_CHECKING:\n    from invoicing import totals"),
        ("garage/models/a.py", "job = models.ForeignKey('jobs.Job', models.CASCADE)"),
        ("parts/models/a.py", "job = models.ForeignKey(to='jobs.Job', on_delete=models.CASCADE)"),
        ("garage/a.py", "apps.get_model('jobs', 'Job')"),
        ("garage/a.py", "apps.get_model('jobs.Job')"),
        ("parts/a.py", "importlib.import_module('invoicing.totals')"),
        ("parts/a.py", "__import__('jobs')"),
        ("parts/migrations/0002_a.py", "dependencies = [('jobs', '0001_initial')]"),
    ],
)
def test_a_planted_way_up_is_found(path: str, text: str) -> None:
    assert len(arch.upward(path, text)) == 1


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("jobs/a.py", "from parts.models import Item\nfrom garage import audit"),
        ("invoicing/a.py", "import jobs.models"),
        ("parts/a.py", '"""Called by jobs.actions.steps."""'),
        ("garage/a.py", "words = 'two jobs were done'"),
        ("garage/urls.py", "include('jobs.urls')"),
    ],
)
def test_a_way_down_is_free(path: str, text: str) -> None:
    assert arch.upward(path, text) == []


def test_a_planted_relation_up_is_found() -> None:
    planted = [("garage", "Vehicle.job", "jobs"), ("jobs", "Job.vehicle", "garage"), ("parts", "Pack.item", "parts")]
    assert arch.upward_relations(planted) == ["Vehicle.job points up to jobs"]


# Arithmetic is pure


@pytest.mark.parametrize("path", arch.PURE)
def test_a_pure_module_knows_no_django(path: str) -> None:
    assert arch.impure(path, (arch.ROOT / path).read_text()) == []


@pytest.mark.parametrize(
    "text",
    [
        "from django.db import models",
        "import django",
        "from garage.models import User",
        "from parts import queries",
        "def f():\n    from garage import audit",
    ],
)
def test_a_planted_impurity_is_found(text: str) -> None:
    assert len(arch.impure("jobs/torque.py", text)) == 1


# Rules stand in verbs


def test_no_rule_hides_in_save_or_in_a_signal() -> None:
    assert flat(arch.hidden_rules) == []


@pytest.mark.parametrize(
    "text",
    [
        "class A(models.Model):\n    def save(self): ...",
        "class A(models.Model):\n    def delete(self): ...",
        "from django.db.models.signals import post_save",
    ],
)
def test_a_planted_hidden_rule_is_found(text: str) -> None:
    assert len(arch.hidden_rules("jobs/models/a.py", text)) == 1


# Small pieces


def test_every_file_has_at_most_400_lines() -> None:
    written = [(path, text) for path, text in EVERYTHING if "/migrations/" not in path]
    assert arch.long_files(written, 400) == []


def test_every_function_has_at_most_60_lines() -> None:
    assert flat(lambda path, text: arch.long_functions(path, text, 60), EVERYTHING) == []


def test_nine_functions_of_ten_have_at_most_30_lines() -> None:
    lengths = sorted(
        (node.end_lineno or node.lineno) - node.lineno + 1
        for _, text in SOURCES
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef)
    )
    assert lengths[len(lengths) * 9 // 10] <= 30


def test_every_template_has_at_most_80_lines() -> None:
    assert arch.long_files(TEMPLATES, 80) == []


def test_a_planted_long_piece_is_found() -> None:
    body = "\n".join(f"    x = {n}" for n in range(60))
    assert arch.long_functions("garage/a.py", f"def f():\n{body}", 60) == ["garage/a.py: f has 61 lines"]
    assert arch.long_files([("garage/a.py", "\n" * 401), ("garage/b.py", "\n" * 400)], 400) == [
        "garage/a.py has 401 lines"
    ]


# Templates under the strict content policy


def test_no_template_has_inline_styles_scripts_or_handlers() -> None:
    assert flat(arch.inline, TEMPLATES) == []


@pytest.mark.parametrize(
    "text",
    [
        '<p style="color:red">',
        "<p class='a' STYLE='x'>",
        '<a href="#" onclick="go()">',
        '<button hx-on:click="go()">',
        "<style>p {}</style>",
        '<a href="javascript:go()">',
        "<script>go()</script>",
        '<script type="module">go()</script>',
    ],
)
def test_a_planted_inline_piece_is_found(text: str) -> None:
    assert arch.inline("a.html", text)


def test_a_script_file_is_no_inline_piece() -> None:
    assert arch.inline("a.html", '<script type="module" src="/static/js/app.js"></script>') == []


def test_no_template_sets_a_name_where_it_is_never_run() -> None:
    assert flat(arch.dead_tags, TEMPLATES) == []


def test_a_planted_dead_tag_is_found() -> None:
    dead = '{% extends "base.html" %}{% url "today" as back %}{% block content %}{% if back %}{% endif %}{% endblock %}'
    assert arch.dead_tags("a.html", dead) == ['a.html: url "today" as back']
    assert arch.dead_tags("a.html", dead.replace('{% url "today" as back %}', "")) == []


def test_nothing_is_exempt_from_the_csrf_check() -> None:
    assert [path for path, text in SOURCES if re.search(r"\bcsrf_exempt\b", text)] == []


#: What is cut in silence and may be, with the reason.
CUT_IN_SILENCE = {
    "invoicing/sums.py: by_rest[:missing]": "the shares that get the odd cents",
    "garage/documents.py: answer[:1]": "a byte of a protocol",
    "garage/views/vehicles.py: request.GET.get('vin', '')[:40]": "looked at while it is typed; the form says too long",
    "jobs/views/intake.py: request.GET.get('phone', '')[:40]": "looked at while it is typed; the form says too long",
    "jobs/views/intake.py: request.GET.get('v-vin', '')[:40]": "the same",
    "jobs/views/intake.py: request.GET.get('v-plate', '')[:40]": "the same",
    "garage/web.py: request.GET.get(name, '').replace('\\x00', '').strip()[:most]": "the box holds no more",
    "garage/texts.py: text[:most - 1]": "says it by an ellipsis",
    "garage/rows.py: list(self.fields)[:2]": "the first two fields of a form",
    "garage/models/files.py: name[:2]": "a folder's name",
    "garage/photos.py: data[:4]": "the signature of a file",
    "garage/asking.py: digest(list(questions))[:16]": "a digest",
    "jobs/seen.py: digest({name: plain(field, field.value_from_object(row)) for name, field in kept.items()})[:16]": (
        "a digest"
    ),
    "garage/sqlite.py: version[:2]": "a version",
    "parts/actions/items.py: pack[:4]": "the first columns of a row",
    "parts/packs.py: self._best[:3]": "the same",
    "parts/forms_receive.py: [*code.split('-'), '', '', ''][:3]": "the same",
    "parts/forms_receive.py: rows[:MOST_LINES]": "the sheet says how many do not fit",
    "invoicing/forms_sale.py: rows[:MOST_LINES]": "the sheet says that it is full",
    "garage/search.py: row[:2]": "the first columns of a row",
    "garage/search.py: sorted(ranked, key=lambda row: row[:2])[:limit]": "the answer says that there are more",
    "garage/search.py: newest.values('pk')[:limit + 1]": "the same",
}
#: The mechanisms: pages, and lists that say how much of them is shown. The demo is no page.
CUTTING = ("garage/cuts.py", "garage/web.py", "parts/paging.py", "invoicing/demo/")


def test_nothing_is_cut_in_silence() -> None:
    found = [cut for path, text in SOURCES if not path.startswith(CUTTING) for cut in arch.cuts(path, text)]
    assert [cut for cut in found if cut not in CUT_IN_SILENCE] == []


def test_a_planted_cut_is_found() -> None:
    assert arch.cuts("a.py", "shown = rows[:SHOWN]") == ["a.py: rows[:SHOWN]"]
    assert arch.cuts("a.py", "reason = reason.strip()[:200]") == ["a.py: reason.strip()[:200]"]
    assert arch.cuts("a.py", "last = rows[:1], rows[1:], rows[::-1]") == []
