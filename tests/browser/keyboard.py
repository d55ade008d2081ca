"""A person with a keyboard and no mouse, who counts: every key that goes down is one, Ctrl with Enter is two."""

from playwright.sync_api import Locator, Page, expect

from tests.browser.sentences import settled

#: A page where more Tabs than this lead nowhere is broken for the keyboard.
FAR = 150


class Keyboard:
    """Does what somebody does who knows the program, and counts the keys."""

    def __init__(self, page: Page, counted: dict[str, int]) -> None:
        self.page, self.counted = page, counted

    def press(self, *keys: str) -> None:
        """Press keys, one after the other; those of a chord are named with a plus between them."""
        for key in keys:
            self.page.keyboard.press(key)
            names = ["+"] if key == "+" else key.split("+")
            for name in names:
                self._count(name if name in ("Tab", "Shift", "Control", "Enter") else "other")

    def type(self, text: str) -> None:
        self.page.keyboard.type(text)
        for _letter in text:
            self._count("typed")

    def go(self, to: Locator) -> None:
        """Go to a field, a link or a button: with Tab, unless the focus is there already."""
        expect(to).to_be_attached()
        settled(self.page)
        for _tab in range(FAR):
            if to.evaluate("element => element === document.activeElement"):
                return
            self.press("Tab")
        raise AssertionError(f"{FAR} Tabs do not lead to {to}")

    def fill(self, field: Locator, text: str) -> None:
        self.go(field)
        self.type(text)

    def choose(self, field: Locator, begins: str) -> None:
        """Choose in a list by its first letters."""
        self.fill(field, begins)

    def act(self, to: Locator) -> None:
        """Press an act: by the key that is written on it, else by Tab and Enter."""
        expect(to).to_be_visible()
        settled(self.page)
        if to.get_attribute("aria-keyshortcuts") == "Control+Enter":
            self.press("Control+Enter")
        else:
            self.go(to)
            self.press("Enter")

    def find(self, text: str) -> None:
        self.press("/")
        self.type(text)
        self.press("Enter")

    def _count(self, name: str) -> None:
        self.counted[name] = self.counted.get(name, 0) + 1
