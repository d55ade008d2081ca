"""The templates read as text: what Django would pass over without a word."""

import re
from pathlib import Path

import pytest

TEMPLATES = Path(__file__).resolve().parent.parent / "templates"
CHILDREN = [path for path in sorted(TEMPLATES.rglob("*.html")) if "{% extends" in path.read_text()]


@pytest.mark.parametrize("path", CHILDREN, ids=lambda path: str(path.relative_to(TEMPLATES)))
def test_nothing_stands_outside_the_blocks_of_a_child_template(path: Path) -> None:
    """Such a tag never runs: an address named there is empty inside the blocks, and the link becomes a dead button."""
    depth, outside = 0, []
    for tag in re.findall(r"\{% (.*?) %\}", path.read_text()):
        word = tag.split()[0]
        if word == "endblock":
            depth -= 1
        elif word == "block":
            depth += 1
        elif depth == 0 and word not in ("extends", "load"):
            outside.append(tag)
    assert not outside
