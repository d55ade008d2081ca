"""What axe cannot measure: sideways scroll, the size of targets, and where the focus is."""

import re
from typing import Any

from playwright.sync_api import Page

#: Elements that reach past the right edge; what scrolls sideways in a named region of its own may.
PAST_THE_EDGE = """() => {
  const width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= width) return [];
  const past = [...document.body.querySelectorAll("*")].filter((element) =>
    element.getBoundingClientRect().right > width + 0.5 && !element.closest(".scrolls"));
  return past.map((element) => element.outerHTML.slice(0, 120));
}"""

#: Everything that can be pressed or typed in and is smaller than `least`; a box or a radio counts with its label.
SMALL_TARGETS = """(least) => {
  const kinds = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";
  const small = [];
  for (const element of document.querySelectorAll(kinds)) {
    if (!element.checkVisibility({visibilityProperty: true}) || element.closest(".visually-hidden, .skip")) continue;
    const boxes = [element, ...(element.labels ?? [])].map((one) => one.getBoundingClientRect());
    const choice = element.matches("[type=checkbox], [type=radio]");
    const shown = choice ? boxes : boxes.slice(0, 1);
    const wide = Math.max(...shown.map((box) => box.right)) - Math.min(...shown.map((box) => box.left));
    const high = Math.max(...shown.map((box) => box.bottom)) - Math.min(...shown.map((box) => box.top));
    if (wide < least - 0.5 || high < least - 0.5) {
      small.push(`${Math.round(wide)} × ${Math.round(high)}: ${element.outerHTML.slice(0, 120)}`);
    }
  }
  return small;
}"""

#: Where the keyboard is: the words of the element, and the outline that shows it.
FOCUS = """() => {
  const element = document.activeElement;
  const style = getComputedStyle(element);
  return {
    words: (element.getAttribute("aria-label") || element.innerText || element.value || element.name || "").trim(),
    outline: style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth),
    tag: element.tagName,
  };
}"""

#: The first line of each row of the tables: where its words and the figure it is about are.
FIRST_LINES = """() => {
  const figures = [...document.querySelectorAll("table.stack tbody tr > .n")].filter((cell) =>
    cell.checkVisibility() && getComputedStyle(cell).position === "absolute" && cell.textContent.trim());
  return figures.map((cell) => {
    const row = cell.parentElement;
    const range = document.createRange();
    range.selectNodeContents(row.firstElementChild.firstElementChild ?? row.firstElementChild);
    const [words] = range.getClientRects();
    const box = cell.getBoundingClientRect();
    range.selectNodeContents(cell);
    const figure = range.getBoundingClientRect();
    return {row: row.innerText.slice(0, 80), words_top: words.top, words_end: words.right, figure_top: figure.top,
            figure_start: figure.left, figure_end: box.right, edge: row.getBoundingClientRect().right};
  });
}"""

#: What can be pressed or filled in, as Playwright writes what a reader hears: `- link "Job 12":`.
_TARGET = re.compile(
    r'^(?P<in> *)- (?P<role>link|button|textbox|searchbox|combobox|spinbutton|checkbox|radio|group) "(?P<name>[^"]*)"'
)
_ADDRESS = re.compile(r"^ *- /url: (?P<url>.*)$")


def past_the_edge(page: Page) -> list[str]:
    """What makes the page scroll sideways; nothing when it does not."""
    found: list[str] = page.evaluate(PAST_THE_EDGE)
    return found


def small_targets(page: Page, least: int) -> list[str]:
    """Targets under `least` pixels in width or height, with their sizes."""
    found: list[str] = page.evaluate(SMALL_TARGETS, least)
    return found


def focus(page: Page) -> dict[str, Any]:
    """The focused element's words, its outline's width and its tag."""
    found: dict[str, Any] = page.evaluate(FOCUS)
    return found


def first_lines(page: Page) -> list[dict[str, Any]]:
    """Where the words and the figure of each row of the page's tables are; nothing at a size that shows columns."""
    found: list[dict[str, Any]] = page.evaluate(FIRST_LINES)
    return found


def same_names(page: Page) -> list[str]:
    """The targets that a reader cannot tell apart by their names; links that lead to one place may share one."""
    seen: dict[tuple[str, str], set[str]] = {}
    groups: list[tuple[int, str]] = []
    last: tuple[str, str] | None = None
    for number, line in enumerate(page.locator("body").aria_snapshot().splitlines()):
        if last and (address := _ADDRESS.match(line)):
            seen[last] = seen[last] - {str(number - 1)} | {address["url"]}
        last = None
        depth = len(line) - len(line.lstrip())
        groups = [(at, name) for at, name in groups if at < depth]
        if (target := _TARGET.match(line)) and target["role"] == "group":
            groups.append((depth, target["name"]))
        elif target:
            within = " ".join(name for _at, name in groups)
            last = (target["role"], f"{within} {target['name']}".strip())
            seen.setdefault(last, set()).add(str(number))
    return [f"{len(places)} × {role} “{name}”" for (role, name), places in seen.items() if len(places) > 1]
