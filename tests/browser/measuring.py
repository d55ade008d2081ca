"""What axe cannot measure: sideways scroll, the size of targets, and where the focus is."""

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
