"""The fields of a YAML file, read with the line of each mistake. Pure: no Django here.

Values are taken as they were written, so that `0.85` stays a decimal and `no` a word where a word is asked.
"""

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches

import yaml

LONGEST_FILE = 200_000
MOST_ROWS = 200


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, with the line it stands on (None: the file as a whole) and the field."""

    line: int | None
    field: str
    sentence: str

    def __str__(self) -> str:
        place = ", ".join(filter(None, [f"line {self.line}" if self.line else "", self.field]))
        return f"{place}: {self.sentence}" if place else self.sentence


Problems = list[Problem]


def compose(text: str, problems: Problems) -> yaml.MappingNode | None:
    """Parse the text to nodes that know their lines; None, with the problem noted, when it is no mapping."""
    if len(text) > LONGEST_FILE:
        problems.append(Problem(None, "", f"The file is longer than {LONGEST_FILE:,} characters."))
        return None
    try:
        root = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        problems.append(Problem(mark.line + 1 if mark else None, "", f"This is not YAML: {error.problem}."))
        return None
    except (yaml.YAMLError, RecursionError):
        problems.append(Problem(None, "", "This is not YAML: it holds characters or nesting that cannot be read."))
        return None
    if not isinstance(root, yaml.MappingNode):
        problems.append(Problem(1, "", "A procedure begins with fields such as “procedure: its title”."))
        return None
    return root


class Fields:
    """A mapping of the file: each method reads one field and notes what is wrong with it."""

    def __init__(self, node: yaml.MappingNode, path: str, problems: Problems) -> None:
        self.path, self.problems, self.line = path, problems, node.start_mark.line + 1
        self.asked: list[str] = []
        self.nodes: dict[str, yaml.Node] = {}
        self.lines: dict[str, int] = {}
        for key, value in node.value:
            name = str(key.value) if isinstance(key, yaml.ScalarNode) else "?"
            self.lines.setdefault(name, key.start_mark.line + 1)
            if name in self.nodes:
                problems.append(Problem(key.start_mark.line + 1, self._full(name), "stands here a second time."))
            self.nodes[name] = value

    def _full(self, name: str) -> str:
        return f"{self.path}.{name}" if self.path else name

    def problem(self, name: str, sentence: str) -> None:
        """Note what is wrong with a field of this mapping."""
        top = name.partition("[")[0].partition(".")[0]
        self.problems.append(Problem(self.lines.get(top, self.line), self._full(name), sentence))

    def text(self, name: str, *, longest: int = 2000, required: bool = False) -> str:
        """A scalar as it was written, trimmed; empty when it is not there."""
        self.asked.append(name)
        node = self.nodes.get(name)
        if node is not None and not isinstance(node, yaml.ScalarNode):
            self.problem(name, "must be one value, not a list or group.")
            return ""
        empty = node is None or node.tag == "tag:yaml.org,2002:null"
        value = "" if empty else str(node.value).strip() if node is not None else ""
        if required and not value:
            self.problem(name, "is missing.")
        if len(value) > longest:
            self.problem(name, f"has {len(value)} characters; at most {longest} fit.")
        return value

    def number(self, name: str, *, places: int, required: bool = False) -> Decimal | None:
        """A decimal number, not negative."""
        text = self.text(name, longest=40, required=required)
        if not text:
            return None
        try:
            value = Decimal(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)
        except InvalidOperation:
            value = Decimal("NaN")
        if not value.is_finite() or abs(value) >= Decimal("1e9"):
            self.problem(name, f"“{text}” is not a number.")
            return None
        if value < 0 and name == "hours":
            self.problem(name, "must not be below zero.")
        if -int(value.as_tuple().exponent) > places:
            self.problem(name, f"has more than {places} places after the point.")
            return None
        return value

    def whole(self, name: str, *, most: int) -> int | None:
        """A whole number from 1 to `most`."""
        text = self.text(name)
        if not text:
            return None
        if not (text.isascii() and text.isdecimal() and len(text) < 10 and 1 <= int(text) <= most):
            self.problem(name, f"“{text}” must be a whole number from 1 to {most}.")
            return None
        return int(text)

    def flag(self, name: str) -> bool:
        """Yes or no; no when it is not there."""
        text = self.text(name).lower()
        if text not in ("", "yes", "no", "true", "false"):
            self.problem(name, f"“{text}” must be yes or no.")
        return text in ("yes", "true")

    def choice(self, name: str, choices: tuple[str, ...], *, default: str) -> str:
        """One of the given words."""
        text = self.text(name) or default
        if text not in choices:
            self.problem(name, f"“{text}” must be one of: {', '.join(choices)}.")
            return default
        return text

    def group(self, name: str) -> "Fields | None":
        """A mapping below this one; None when it is not there."""
        self.asked.append(name)
        node = self.nodes.get(name)
        if node is None:
            return None
        if not isinstance(node, yaml.MappingNode):
            self.problem(name, "must be a group of fields.")
            return None
        return Fields(node, self._full(name), self.problems)

    def _sequence(self, name: str, required: bool = False) -> list[yaml.Node]:
        self.asked.append(name)
        node = self.nodes.get(name)
        if node is None or (isinstance(node, yaml.ScalarNode) and not node.value):
            if required:
                self.problem(name, "is missing: at least one is needed.")
            return []
        if not isinstance(node, yaml.SequenceNode) or len(node.value) > MOST_ROWS:
            self.problem(name, f"must be a list, each row beginning with a dash, of at most {MOST_ROWS}.")
            return []
        if required and not node.value:
            self.problem(name, "is empty: at least one is needed.")
        return list(node.value)

    def strings(self, name: str) -> tuple[str, ...]:
        """A list of one-line texts."""
        found = []
        for node in self._sequence(name):
            if isinstance(node, yaml.ScalarNode) and str(node.value).strip() and "\n" not in str(node.value).strip():
                found.append(str(node.value).strip())
            else:
                self.problems.append(
                    Problem(node.start_mark.line + 1, self._full(name), "must be a list of single lines.")
                )
        return tuple(found)

    def rows(self, name: str, *, required: bool = False) -> list["Fields"]:
        """A list of mappings."""
        found = []
        for position, node in enumerate(self._sequence(name, required), start=1):
            path = f"{self._full(name)}[{position}]"
            if isinstance(node, yaml.MappingNode):
                found.append(Fields(node, path, self.problems))
            else:
                self.problems.append(Problem(node.start_mark.line + 1, path, "must be a group of fields."))
        return found

    def no_others(self) -> None:
        """Note every field that nothing asked for, with the likely meant one."""
        for name in self.nodes:
            if name not in self.asked:
                close = get_close_matches(name, self.asked, n=1)
                hint = f" Did you mean “{close[0]}”?" if close else f" Known here: {', '.join(self.asked)}."
                self.problem(name, "is not known." + hint)
