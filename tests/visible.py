"""What the program says to people, read from its source: the strings of its templates and of its code."""

import ast
import html
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
APPS = ("garage", "parts", "jobs", "invoicing")
#: Words for the operator's log and the books' promises name tables and movements as the code does.
NOT_FOR_PEOPLE = re.compile(r"/(migrations|demo|promises\w*\.py|settings\.py|database\.py|checks\.py)")

Place = tuple[str, int]

_SAID = re.compile(
    r"""translate\s+(?:"([^"]*)"|'([^']*)')"""
    r"""|_\((?:"([^"]*)"|'([^']*)')\)"""
    r"""|\{%\s*blocktranslate[^%]*%\}(.*?)\{%\s*endblocktranslate""",
    re.DOTALL,
)
_COMMENT = re.compile(r"\{#.*?#\}", re.DOTALL)


def said_in_templates() -> Iterator[tuple[Place, str]]:
    """Every message of the templates; the placeholders of a block as gettext writes them."""
    for path in sorted((ROOT / "templates").rglob("*.html")):
        text = _COMMENT.sub(lambda found: "\n" * found[0].count("\n"), path.read_text(encoding="utf-8"))
        for found in _SAID.finditer(text):
            message = next(group for group in found.groups() if group is not None)
            place = str(path.relative_to(ROOT)), text[: found.start()].count("\n") + 1
            for form in re.split(r"\{%\s*plural\s*%\}", message):
                yield place, re.sub(r"\{\{\s*(\w+)\s*\}\}", r"%(\1)s", form)


def said_in_code(*, words: bool = False) -> Iterator[tuple[Place, str]]:
    """Every string of the code that may be read by somebody: no docstring, no name; with `words` single ones too."""
    for app in APPS:
        for path in sorted((ROOT / app).rglob("*.py")):
            name = str(path.relative_to(ROOT))
            if not NOT_FOR_PEOPLE.search(name):
                for line, text in _strings(ast.parse(path.read_text(encoding="utf-8"))):
                    if (
                        words
                        or (re.search(r"[A-Za-z]", text) and not re.fullmatch(r"[\w.:/-]+", text))
                        or text[:1].isupper()
                    ):
                        yield (name, line), text


def _strings(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """The string constants of a module but its docstrings; what an f-string fills in stands as {}."""
    passed = {
        id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            passed |= {id(part) for part in node.values}
            yield node.lineno, "".join(str(p.value) if isinstance(p, ast.Constant) else "{}" for p in node.values)
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in passed:
            yield node.lineno, node.value


UNITS = r"(?:N·m|ft·lb|in·lb|°C|°F|qt|mm|psi|kPa|bar|L|in)"
#: A span of figures that follows a unit and carries none of its own: read, it has the unit before it.
BARE = re.compile(
    rf"{UNITS}[\s·,(]+(?:from |at least |at most |OK: )?[\d.]+(?:\s*(?:–|to)\s*[\d.]+)(?![\d.]|\s*{UNITS})"
)


def bare_limits(page: str) -> list[str]:
    """The limits on a page that stand beside a figure of another unit without their own."""
    return BARE.findall(html.unescape(re.sub(r"<[^>]*>", " ", page)))
