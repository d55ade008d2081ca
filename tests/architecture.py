"""Reading the program's own source for what tests/test_architecture.py holds it to."""

import ast
import re
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
#: From the ground up: an app knows itself and those before it.
APPS = ("garage", "parts", "jobs", "invoicing")
#: The composition root names the other apps, as strings only.
COMPOSITION_ROOT = ("garage/settings.py", "garage/urls.py")
#: Modules that calculate or know states, and touch neither Django nor the database.
PURE = (
    "garage/clockguard.py",
    "garage/driving.py",
    "garage/errors.py",
    "garage/groups.py",
    "garage/money.py",
    "garage/numbers.py",
    "garage/units.py",
    "garage/vin.py",
    "parts/costing.py",
    "parts/packs.py",
    "parts/pricing.py",
    "parts/reorder.py",
    "jobs/amounts.py",
    "jobs/condition.py",
    "jobs/consent.py",
    "jobs/offers.py",
    "jobs/write_offs.py",
    "jobs/consent_words.py",
    "jobs/offers.py",
    "jobs/exchange.py",
    "jobs/fluid_signs.py",
    "jobs/fluids.py",
    "jobs/substance.py",
    "jobs/holding.py",
    "jobs/intervals.py",
    "jobs/matching.py",
    "jobs/procedure_files.py",
    "jobs/procedure_schema.py",
    "jobs/readings.py",
    "jobs/sold.py",
    "jobs/stages.py",
    "jobs/torque.py",
    "jobs/verdict.py",
    "jobs/yaml_fields.py",
    "invoicing/aging.py",
    "invoicing/totals.py",
)
#: The libraries that pure modules wrap.
WRAPPED = {"pint", "coloraide", "vininfo", "yaml"}

SAVING_SIGNALS = {"pre_save", "post_save", "pre_delete", "post_delete", "m2m_changed", "pre_init", "post_init"}


def sources(*, tests: bool = False) -> Iterator[tuple[str, str]]:
    """Path (from the root) and text of every Python file of the apps, and of the tests when asked for."""
    folders = [*APPS, "tests"] if tests else APPS
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*.py")):
            yield path.relative_to(ROOT).as_posix(), path.read_text()


def templates() -> Iterator[tuple[str, str]]:
    """Path and text of every template."""
    for path in sorted((ROOT / "templates").rglob("*.*")):
        if path.is_file():
            yield path.relative_to(ROOT).as_posix(), path.read_text()


def higher(app: str) -> tuple[str, ...]:
    """The apps that this one must not know."""
    return APPS[APPS.index(app) + 1 :]


def upward(path: str, text: str) -> list[str]:
    """Whatever in a file names an app above its own: imports, and strings that stand for a model or module."""
    if path in COMPOSITION_ROOT:
        return []
    above = higher(path.partition("/")[0])
    tree = ast.parse(text)
    found = [f"imports {name}" for name in imports(tree) if name.partition(".")[0] in above]
    bare = set(_strings(tree)) if "/migrations/" in path else set(_looked_up(tree))
    found += [f"names {word!r}" for word in _strings(tree) if _names(word, above, bare)]
    return [f"{path}: {what}" for what in found]


def imports(tree: ast.AST) -> Iterator[str]:
    """Every module a tree imports; a relative import gives its dots, which no app allows."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield "." * node.level + (node.module or "")


def _strings(tree: ast.AST) -> Iterator[str]:
    """String constants, without the docstrings."""
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
        and node.body
        and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.value


LOOK_UPS = {"get_model", "get_app_config", "get_registered_model", "import_module", "__import__"}


def _looked_up(tree: ast.AST) -> Iterator[str]:
    """The first argument of each call that looks an app up by its name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            first = [*node.args, *(keyword.value for keyword in node.keywords)][:1]
            if name in LOOK_UPS and first and isinstance(first[0], ast.Constant):
                yield str(first[0].value)


def _names(word: str, above: Iterable[str], bare: set[str]) -> bool:
    """`jobs.Job` or `jobs.actions.intake` anywhere, and the app alone where it is looked up."""
    return any(re.fullmatch(rf"{app}(\.\w+)+", word) or (word == app and word in bare) for app in above)


def impure(path: str, text: str) -> list[str]:
    """What a pure module imports and should not: anything but the standard library, its like and the wrapped."""
    alike = {module.removesuffix(".py").replace("/", ".") for module in PURE}
    found = []
    for name in imports(ast.parse(text)):
        top = name.partition(".")[0]
        if name not in alike and top not in sys.stdlib_module_names and top not in WRAPPED:
            found.append(f"{path}: imports {name}")
    return found


def upward_relations(relations: Iterable[tuple[str, str, str]]) -> list[str]:
    """Those of (app, field, app it points to) that point to a higher app."""
    return [
        f"{field} points up to {target}" for app, field, target in relations if app in APPS and target in higher(app)
    ]


def cuts(path: str, text: str) -> list[str]:
    """Where a list or a text is cut to a length: `rows[:10]`, `rows[: size + 1]`; the first one alone is no cut."""
    return [
        f"{path}: {ast.unparse(node)}"
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Subscript)
        and isinstance(node.slice, ast.Slice)
        and node.slice.lower is None
        and node.slice.upper is not None
        and ast.unparse(node.slice.upper) not in ("1", "-1")
    ]


def hidden_rules(path: str, text: str) -> list[str]:
    """Rules where nobody looks for them: an overridden save or delete of a model, a signal of saving."""
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.ClassDef) and "/models/" in f"/{path}":
            names = [item.name for item in node.body if isinstance(item, ast.FunctionDef)]
            found += [f"{node.name}.{name}" for name in names if name in ("save", "delete")]
        if isinstance(node, ast.ImportFrom) and node.module == "django.db.models.signals":
            found += [alias.name for alias in node.names if alias.name in SAVING_SIGNALS]
    return [f"{path}: {what}" for what in found]


def long_functions(path: str, text: str, most: int) -> list[str]:
    """Functions of more than so many lines, decorators not counted."""
    return [
        f"{path}: {node.name} has {length} lines"
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and (length := (node.end_lineno or node.lineno) - node.lineno + 1) > most
    ]


def long_files(files: Iterable[tuple[str, str]], most: int) -> list[str]:
    """Files of more than so many lines."""
    return [f"{path} has {lines} lines" for path, text in files if (lines := len(text.splitlines())) > most]


INLINE = re.compile(
    r"<[^>]*\s(style|on[a-z]+|hx-on[\w:-]*)\s*=|<style\b|<script(?![^>]*\ssrc=)|javascript:", re.IGNORECASE
)


def inline(path: str, text: str) -> list[str]:
    """Inline styles, scripts and handlers: the Content-Security-Policy drops them without a word."""
    html = re.sub(r"{%.*?%}|{{.*?}}|{#.*?#}", "", text)
    return [f"{path}: {match[0][:60]}" for match in INLINE.finditer(html)]


def dead_tags(path: str, text: str) -> list[str]:
    """What stands in a child template outside its blocks: Django never runs it, so a name set there stays empty."""
    if "{% extends" not in text:
        return []
    outside, depth = [], 0
    for tag in re.findall(r"{%\s*(.*?)\s*%}", text):
        word = tag.split(" ", 1)[0]
        depth += (word == "block") - (word == "endblock")
        if depth == 0 and word not in ("extends", "load", "endblock", "partialdef", "endpartialdef", "comment"):
            outside.append(f"{path}: {tag}")
    return outside
