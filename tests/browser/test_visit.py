"""One car's whole visit by three people: the counter, the technician on the bay's tablet, and the books.

Every sum below is worked out by hand; it must stand on the screen, in the PDF and in the mail alike.
"""

import re
from io import BytesIO

import pytest
from PIL import Image
from playwright.sync_api import FilePayload, Locator, Page, expect
from pypdf import PdfReader

from tests.browser import axe
from tests.browser.cast import fluid_change
from tests.browser.conftest import TABLET, Person
from tests.browser.running import Running
from tests.browser.sentences import begin_line, box, confirm, part, press_done, tap_in

CUSTOMER, PLATE, CONCERN = "Odile Marrant", "KET-118", "Whines when cold, worse uphill."


def photo() -> FilePayload:
    """What a phone gives: a picture of the scratch."""
    picture = BytesIO()
    Image.new("RGB", (640, 480), "#778").save(picture, "JPEG")
    return {"name": "scratch.jpg", "mimeType": "image/jpeg", "buffer": picture.getvalue()}


def take_in(page: Page) -> None:
    page.goto("/counter/")
    page.get_by_role("link", name="New visit").click()
    box(page, "Name").fill(CUSTOMER)
    box(page, "Phone").fill("555-0101")
    box(page, "Email").fill("odile@example.com")
    box(page, "Plate").fill(PLATE)
    box(page, "Make").fill("Brannock")
    box(page, "Model").fill("Fell 2.4")
    box(page, "Model year").fill("2016")
    box(page, "Concern").fill(CONCERN)
    box(page, "Odometer").fill("88410")
    box(page, "Key tag").fill("7")
    box(page, "Parked at").fill("yard 3")
    box(page, "Already scratched or broken").fill("Scratch on the left rear door.")
    box(page, "Photos at drop-off").set_input_files(photo())
    page.get_by_role("button", name="Check in").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Brannock Fell 2.4")
    expect(page.get_by_text(CONCERN)).to_be_visible()
    expect(page.get_by_role("img", name="Photo of the car")).to_be_visible()
    for fact in ("88,410 mi in", "yard 3", "555-0101"):
        expect(page.get_by_role("main")).to_contain_text(fact)


def write_up(page: Page) -> None:
    page.get_by_role("link", name="Add operation").click()
    offered = page.get_by_role("listitem").filter(has_text="Front axle fluid, change")
    expect(offered).to_contain_text("for this vehicle")
    offered.get_by_role("button", name="Add").click()
    fluid = page.get_by_role("row").filter(has_text="Front axle fluid FA-90")
    expect(fluid).to_contain_text("0.850 L")
    expect(fluid).to_contain_text("0.898 qt")
    expect(fluid).to_contain_text("52.02")
    page.get_by_role("link", name="Add operation").click()
    box(page, "Operation").fill("Wiper blades, front")
    page.get_by_role("button", name="Add", exact=True).last.click()
    wipers = part(page, "Wiper blades, front")
    add_line(wipers, "Part", "Wiper blade, 22 in", ("Quantity", "2"), ("Unit price", "14.50"), comes_to="29.00")
    add_line(wipers, "Labor", "Fitting", ("Hours", "0.2"), ("Per hour", "128.00"), comes_to="25.60")
    assert not axe.violations(page)
    expect(page.get_by_role("main")).to_contain_text("272.32")  # 265.22 and 8.25 % of 86.02 for what is taxed


def add_line(
    operation: Locator, kind: str, what: str, quantity: tuple[str, str], price: tuple[str, str], *, comes_to: str
) -> None:
    """Write a line in the form on the sheet; what it comes to stands there before anything is saved."""
    begin_line(operation, kind)
    for label, typed in (("What", what), quantity, price):
        box(operation, label).fill(typed)
    expect(operation.get_by_text("comes to")).to_contain_text(comes_to)
    operation.get_by_role("button", name="Save line").click()
    expect(operation.get_by_role("row").filter(has_text=what)).to_contain_text(comes_to)


def pdf_behind(page: Page, link: Locator) -> str:
    """The words of the PDF that a link opens."""
    href = link.get_attribute("href")
    assert href is not None
    answer = page.request.get(href)
    assert answer.headers["content-type"] == "application/pdf"
    return words_of(answer.body())


def words_of(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages)


def ask(page: Page) -> None:
    page.get_by_role("button", name="Write estimate").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Estimate")
    paper = page.get_by_role("link", name=re.compile(r"^Estimate .*pdf"))
    expect(paper).to_be_visible(timeout=30_000)  # the worker makes it, and the page shows it by itself
    words = pdf_behind(page, paper)
    for word in ("ESTIMATE", CUSTOMER, PLATE, "Front axle fluid", "0.850 L", "Wiper blade, 22 in", "272.32"):
        assert word.lower() in words.lower(), word


def authorize(page: Page) -> None:
    page.get_by_role("link", name="Record authorization").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Record authorization")  # all() waits for nothing
    for said in page.get_by_role("radio", name="authorized", exact=True).all():
        said.check()
    box(page, "Given by").select_option(CUSTOMER)
    box(page, "How").select_option("by telephone")
    box(page, "Number or address used").fill("555-0101")
    box(page, "Up to, before tax").fill("265.22")
    assert not axe.violations(page)
    page.get_by_role("button", name="Save authorization").click()
    expect(page.get_by_role("main")).to_contain_text("by telephone")
    expect(page.get_by_text(re.compile("^authorized"))).to_have_count(2)


def done(page: Page, step: str, number: str = "", *, hold: bool = False) -> None:
    """Do the open step: read, type, press."""
    expect(page.get_by_role("heading", name=step)).to_be_visible()
    if number:
        tap_in(page, number)
    if hold:
        confirm(page, tap=True)
    else:
        press_done(page)


def work(page: Page) -> None:
    page.goto("/bay/")
    page.get_by_role("listitem").filter(has_text=PLATE).get_by_role("button", name="Start work").tap()
    filling = page.get_by_role("listitem").filter(has_text="Fill to the edge")
    expect(filling).to_contain_text("Held")
    done(page, "Fill plug opens freely", hold=True)
    expect(page.get_by_text("Stand aside from the stream.")).to_be_visible()
    expect(page.get_by_text("The pan must hold 0.95 L")).to_be_visible()
    done(page, "Drain the fluid", "0.8")
    look_at_the_drained_fluid(page)
    for words in ("Tighten the drain plug", "13 ft·lb", "17.6 N·m"):
        expect(page.locator("[aria-current=step]")).to_contain_text(words)
    done(page, "Tighten the drain plug", "13")
    expect(filling.get_by_role("link")).to_have_count(0)  # not before the vehicle stands level
    done(page, "Vehicle level on its wheels", hold=True)
    assert not axe.violations(page)
    done(page, "Fill to the edge", "0.78")
    box(page, "Why it is outside").fill("some was left in the case")
    press_done(page)
    done(page, "Tighten the fill plug", "13")
    finish(page)


def look_at_the_drained_fluid(page: Page) -> None:
    expect(page.get_by_role("heading", name="Look at the drained fluid")).to_be_visible()
    seen = {"Color": "brown", "Clarity": "clear", "Particles": "fine gray paste", "Smell": "as usual"}
    for sign, words in seen.items():
        page.get_by_role("group", name=sign).get_by_text(words, exact=True).tap()
    press_done(page)


def finish(page: Page) -> None:
    wipers = part(page, "Findings").last
    wipers.get_by_role("link", name="Write findings").tap()
    box(page, "Done").fill("Both blades replaced.")
    page.get_by_role("button", name="Save").tap()
    page.get_by_role("link", name="Add recommendation").tap()
    box(page, "Recommendation").fill("Front drain plug worn")
    page.get_by_role("button", name="Add recommendation").tap()
    expect(page.get_by_text("Front drain plug worn", exact=True)).to_be_visible()
    page.get_by_role("link", name="Finish job").tap()
    page.get_by_label("I took the final look.").check()
    tap_in(page, "88412")
    page.get_by_role("button", name="Finish job").tap()
    expect(page.get_by_role("status")).to_contain_text("is finished")


def bill(page: Page) -> str:
    """Make the invoice, issue it with its mail, and give its number."""
    page.goto("/")
    page.get_by_role("link", name="Counter").click()
    page.get_by_role("row").filter(has_text=PLATE).get_by_role("link", name="Make invoice").click()
    different = part(page, "Different from what was")
    expect(different).to_contain_text("0.780 L")
    expect(box(page, "Mail it to")).to_have_value("odile@example.com")
    page.get_by_role("button", name="Issue invoice").click()
    heading = page.get_by_role("heading", level=1)
    expect(heading).to_contain_text("Invoice")
    expect(page.get_by_role("main")).to_contain_text("267.68 owed")
    return heading.inner_text().removeprefix("Invoice ")


#: What the invoice says, on the screen and on paper: what was drawn in place of what was written up.
BILLED = {
    "Labor": "153.60",
    "Front axle fluid FA-90": "47.74",  # 0.78 L at 61.20
    "Sealing washer 10 mm": "5.00",
    "Wiper blade, 22 in": "29.00",
    "Fitting": "25.60",
}
TOTAL = "267.68"  # 260.94, and 8.25 % of 81.74 for what is taxed


def compare_paper_and_screen(page: Page, number: str) -> str:
    for what, amount in BILLED.items():
        expect(page.get_by_role("row").filter(has_text=what)).to_contain_text(amount)
    paper = page.get_by_role("link", name=re.compile(r"^Invoice .*pdf"))
    expect(paper).to_be_visible(timeout=30_000)
    words = pdf_behind(page, paper)
    on_paper(words, number)
    return words


def on_paper(words: str, number: str) -> None:
    for said in (number, CUSTOMER, PLATE, "0.780 L", *BILLED, *BILLED.values(), TOTAL):
        assert said in words, f"“{said}” is not on the paper"


def mail_with_the_invoice(running: Running, words: str, number: str) -> None:
    """The mail that really went out: to whom, about what, and the same paper in it."""
    sent = running.post.mail_to("odile@example.com")
    assert number in sent["Subject"]
    [attached] = sent.iter_attachments()
    assert attached.get_content_type() == "application/pdf"
    assert words_of(attached.get_content()) == words


def pay(page: Page) -> None:
    page.get_by_role("link", name="Record payment").click()
    expect(box(page, "Amount")).to_have_value(TOTAL)
    page.get_by_label("Paid by").select_option("card")
    page.get_by_role("button", name="Record payment").click()
    expect(page.get_by_role("main")).to_contain_text(TOTAL)
    page.get_by_role("main").get_by_role("link", name=re.compile("20[0-9]{2}-[0-9]{4}")).first.click()
    expect(page.get_by_role("main")).to_contain_text("paid")
    page.get_by_role("link", name=re.compile("^Job ")).click()
    expect(page.get_by_role("main")).to_contain_text("closed")


def look_at_what_comes_next(page: Page) -> None:
    """The car's own page: its next service, and what was noticed for the next visit."""
    page.get_by_role("searchbox", name="Find", exact=True).fill(PLATE)
    page.keyboard.press("Enter")
    page.get_by_role("link", name=re.compile("^2016 Brannock Fell 2.4")).click()
    expect(page.get_by_role("main")).to_contain_text("118,412 mi")  # 88,412 and the procedure's 30,000
    expect(page.get_by_role("main")).to_contain_text(re.compile(r"30,000 mi\s*remaining"))
    expect(page.get_by_role("main")).to_contain_text("Front drain plug worn")


def look_at_the_shelf(page: Page) -> None:
    """3.4 L less 0.78: the open bottle of 0.4 L went first, and 0.62 L of the next one is left."""
    page.get_by_role("link", name="Shelf").click()
    page.get_by_role("table").get_by_role("link", name="Front axle fluid FA-90").click()
    for left in ("2.620 L", "2.769 qt", "0.620 L", "0.655 qt"):
        expect(page.get_by_role("main")).to_contain_text(left)


@pytest.mark.timeout(300)
def test_a_visit_from_the_key_to_the_money(person: Person, running: Running) -> None:
    with running.book():
        fluid_change("Front axle", "FA-90", packs=3, left_open="0.4")
    counter, tablet = person("counter"), person("technician", **TABLET)
    take_in(counter)
    write_up(counter)
    ask(counter)
    authorize(counter)
    work(tablet)
    number = bill(counter)
    words = compare_paper_and_screen(counter, number)
    mail_with_the_invoice(running, words, number)
    pay(counter)
    look_at_what_comes_next(counter)
    look_at_the_shelf(counter)
    running.manage("books_check")
