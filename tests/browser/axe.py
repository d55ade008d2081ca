"""What axe-core (vendored, MPL 2.0) finds wrong with a page, as sentences."""

from pathlib import Path
from typing import Any

from playwright.sync_api import Page

SCRIPT = (Path(__file__).parent / "vendor" / "axe.min.js").read_text()
#: WCAG 2.2 at level AA and all below it, and what is good besides. target-size runs only with wcag22aa.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN = "tags => axe.run(document, {runOnly: {type: 'tag', values: tags}, resultTypes: ['violations']})"


def violations(page: Page) -> list[str]:
    """One sentence for each element that breaks a rule."""
    page.evaluate(SCRIPT)  # through the debugger, so the content policy stays as strict as it is
    result: dict[str, Any] = page.evaluate(RUN, TAGS)
    return [
        f"{rule['id']}: {rule['help']}: {node['html'][:160]}: {node['failureSummary']}"
        for rule in result["violations"]
        for node in rule["nodes"]
    ]
