"""A form is sent once, keeps what was typed when the shop's computer is away, and is another act after Back."""

from playwright.sync_api import Page, Route, expect

from jobs import stages
from tests.browser.cast import Garage
from tests.browser.conftest import Doors, Person
from tests.browser.running import Running
from tests.browser.sentences import box, confirm
from tests.browser.visits import Visit, in_bay, visit

#: The properties of a form that the page's own scripts read: a field of the program that carries the name of one would
#: stand in its place.
SHADOWED = """() => [...document.forms].flatMap((form) => [...form.elements].map((field) => field.name)
  .filter((name) => name && name in HTMLFormElement.prototype))"""

#: The second one after the form was really sent, which takes a moment.
TWO_CLICKS = """() => {
  const act = document.querySelector("button[form=money]");
  act.click();
  setTimeout(() => act.click(), 700);
}"""


def owed(garage: Garage, running: Running, plate: str) -> Visit:
    with running.book():
        return visit(garage, "Nell Ashby", plate, until=stages.INVOICED)


def payment_page(person: Person, came: Visit) -> Page:
    assert came.invoice is not None
    page = person("counter")
    page.goto(f"/invoices/{came.invoice.pk}/pay/")
    assert page.evaluate(SHADOWED) == ["method"], "this is the form that has such a field"
    return page


def test_a_double_click_on_a_payment_sends_it_once(person: Person, running: Running, garage: Garage) -> None:
    """The second click comes while the first one's answer is still on its way, as on a slow network."""
    page, sent = payment_page(person, owed(garage, running, "SND-701")), list[Route]()
    box(page, "Amount").fill("1.00")
    page.get_by_label("Paid by").select_option("card")
    page.route("**/pay/", lambda route: sent.append(route))
    page.evaluate(TWO_CLICKS)
    page.wait_for_timeout(1500)
    assert [route.request.method for route in sent] == ["POST"]
    sent[0].continue_()
    page.wait_for_url(lambda url: "/pay/" not in url)
    expect(page.get_by_role("main")).to_contain_text("1.00")


def test_a_payment_typed_while_the_shops_computer_is_away_is_kept(
    person: Person, doors: Doors, running: Running, garage: Garage
) -> None:
    page = payment_page(person, owed(garage, running, "SND-702"))
    box(page, "Amount").fill("2.34")
    page.get_by_label("Paid by").select_option("check")
    box(page, "Reference").fill("check 1177")
    page.route("**/*", lambda route: route.abort())
    page.locator("button[form=money]").click()
    expect(page.get_by_role("status")).to_contain_text("does not answer. Nothing was saved")
    expect(box(page, "Amount")).to_have_value("2.34")
    expect(box(page, "Reference")).to_have_value("check 1177")
    [fault] = doors.opened[-1][1].take()
    assert "ERR_FAILED" in fault, "the one question that this test itself left without an answer"
    page.unroute("**/*")
    page.locator("button[form=money]").click()  # and it can be sent again
    page.wait_for_url(lambda url: "/pay/" not in url)
    expect(page.get_by_role("main")).to_contain_text("2.34")


def test_a_note_after_back_is_another_note(person: Person, running: Running, garage: Garage) -> None:
    with running.book():
        came = visit(garage, "Nell Ashby", "SND-703", until=stages.IN_BAY)
    page = person("technician")
    page.goto(f"/bay/{came.job.pk}/advisory/")
    key = page.locator("input[name=key]").last.input_value()
    box(page, "Recommendation").fill("Front drain plug worn")
    page.locator("form.form button[type=submit]").last.click()
    page.wait_for_url(lambda url: "/advisory/" not in url)
    page.go_back()
    expect(box(page, "Recommendation")).to_be_visible()
    renewed = page.locator("input[name=key]").last.input_value()
    assert renewed != key
    assert len(renewed) == 36 and renewed[14] == "4" and renewed[19] in "89ab"  # RFC 9562, version 4
    box(page, "Recommendation").fill("Rear drain plug worn")
    page.locator("form.form button[type=submit]").last.click()
    page.wait_for_url(lambda url: "/advisory/" not in url)
    for noted in ("Front drain plug worn", "Rear drain plug worn"):
        expect(page.get_by_text(noted, exact=True)).to_have_count(1)


def test_a_page_out_of_the_browsers_memory_gets_new_keys_and_a_fresh_one_keeps_its_own(
    person: Person, running: Running, garage: Garage
) -> None:
    """The event is sent by the test: an engine that is driven keeps no pages in its memory."""
    page = person("technician")
    in_bay(page, running, garage, "SND-704")
    keys = "() => [...document.querySelectorAll('input[name=key], input[name=event]')].map((input) => input.value)"
    come_back = "(persisted) => dispatchEvent(new PageTransitionEvent('pageshow', {persisted}))"
    before = page.evaluate(keys)
    assert before
    page.evaluate(come_back, False)
    assert page.evaluate(keys) == before
    page.evaluate(come_back, True)
    renewed = page.evaluate(keys)
    assert len(set(renewed)) == len(before) and not set(renewed) & set(before)
    confirm(page)
    expect(page.get_by_role("heading", name="Drain the fluid")).to_be_visible()  # and the server takes them
