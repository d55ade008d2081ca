"""A log-in that ended while something was being typed: nothing typed is lost, and it is saved once.

As after twelve hours, or when somebody logged out in another tab.
"""

import re

from playwright.sync_api import Page, expect

from invoicing.models import Payment
from jobs import stages
from jobs.models import Job
from tests.browser.cast import PASSWORD, Garage
from tests.browser.conftest import Doors
from tests.browser.running import Running
from tests.browser.sentences import box
from tests.browser.visits import visit

OVER = "You were logged out, and nothing was saved."


def log_in(page: Page, garage: Garage) -> None:
    page.goto("/login/")
    box(page, "Login name").fill(garage.logins["counter"])
    box(page, "Password").fill(PASSWORD)
    page.get_by_role("main").get_by_role("button", name="Log in").click()
    page.wait_for_url(lambda url: "/login/" not in url)


def log_out(page: Page) -> None:
    """In another tab."""
    other = page.context.new_page()
    other.goto("/password/")
    other.evaluate("document.querySelector('form[action$=\"logout/\"]').requestSubmit()")
    other.wait_for_url(lambda url: "/login/" in url)
    other.close()


def log_in_again(page: Page, garage: Garage) -> None:
    """By the link that the sentence holds, which opens another tab."""
    said = page.get_by_role("status")
    expect(said).to_contain_text(OVER)
    with page.context.expect_page() as opened:
        said.get_by_role("link", name="Log in").click()
    log_in(opened.value, garage)
    opened.value.close()


def test_a_payment_typed_by_somebody_who_was_logged_out_is_kept(doors: Doors, running: Running, garage: Garage) -> None:
    with running.book():
        came = visit(garage, "Nell Ashby", "OUT-801", until=stages.INVOICED)
    page = doors.visitor("counter")
    log_in(page, garage)
    assert came.invoice is not None
    page.goto(f"/invoices/{came.invoice.pk}/pay/")
    box(page, "Amount").fill("2.34")
    page.get_by_label("Paid by").select_option("check")
    box(page, "Reference").fill("check 1177")
    log_out(page)
    act = page.locator("button[form=money]")
    act.click()
    log_in_again(page, garage)
    expect(box(page, "Reference")).to_have_value("check 1177")
    act.click()
    page.wait_for_url(lambda url: "/pay/" not in url)
    with running.book():
        assert [str(row.amount) for row in Payment.objects.filter(customer=came.job.customer)] == ["2.34"]


def test_a_visit_typed_by_somebody_who_was_logged_out_is_kept(doors: Doors, running: Running, garage: Garage) -> None:
    """This form is sent in place: the answer would have led to the page to log in."""
    page = doors.visitor("counter")
    log_in(page, garage)
    page.goto("/counter/new/")
    typed = {"c-name": "Odalys Venn", "concern": "Hums at 40.", "v-make": "Brannock", "v-model": "Fell"}
    for name, words in typed.items():
        page.locator(f"[name={name}]").fill(words)
    log_out(page)
    act = page.get_by_role("main").get_by_role("button", name="Check in").last
    act.click()
    log_in_again(page, garage)
    for name, words in typed.items():
        expect(page.locator(f"[name={name}]")).to_have_value(words)
    act.click()  # with the mark that the page had before
    expect(page.get_by_role("status")).to_contain_text("Try it once more")
    act.click()
    page.wait_for_url(re.compile(r"/jobs/\d+/"))
    with running.book():
        assert Job.objects.filter(customer__name="Odalys Venn").count() == 1
    faults = doors.opened[-1][1].take()
    assert len(faults) == 2 and "401" in faults[0] and "403" in faults[1], faults
