import pytest
from playwright.sync_api import Page

from tests.browser import axe


def test_x(person):
    page = person("counter")
    page.goto("/counter/")
    assert not axe.violations(page)
    print(page.title())
