"""The printed papers: what the law wants on them stands in the PDF's own text, and the file keeps its standard."""

import datetime as dt
import io
import re
from decimal import ROUND_HALF_UP, Decimal

import pikepdf
import pypdf
import pytest

from garage import documents, printing
from garage.clock import fixed
from garage.documents import Printable
from garage.models import Document, ShopProfile
from invoicing import papers
from invoicing.models import Invoice, InvoiceLine, TaxRate
from jobs import queries
from jobs.actions.intake import change_job
from jobs.models import Advisory
from tests.invoicing.cast import Garage, charge, labor, part

D = Decimal
ROW = re.compile(
    r"^(?P<what>.*?)\s{2,}(?:(?P<condition>new|used|rebuilt|reconditioned)\s+)?"
    r"(?P<quantity>−?[\d.,]+)(?: (?P<unit>hr|L|qt|gal))?\s+(?P<price>−?[\d.,]+)(?: / (?:hr|L|qt|gal))?"
    r"\s+(?P<net>−?[\d.,]+)$"
)
SUM = re.compile(r"(?P<label>Labor|Parts and fluid|Sublet and charges|Before tax|Total due|Credited|Total)"
                 r"\s{2,}(?P<amount>−?\$?[\d.,]+)$")  # fmt: skip
TAX = re.compile(
    r"(?P<label>\S.*?) (?P<percent>[\d.]+)% on (?P<base>−?[\d.,]+)(?:, in advance)?\s{2,}(?P<tax>−?[\d.,]+)$"
)


def printed(printable: Printable) -> bytes:
    return printing.render(documents.paper_of(printable))


def pages_of(pdf: bytes) -> list[str]:
    """The text of each page, laid out as it stands."""
    return [page.extract_text(extraction_mode="layout") for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def text_of(printable: Printable) -> str:
    return "\n".join(pages_of(printed(printable)))


def one_line(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def read_out(printable: Printable) -> str:
    """The text in the order in which it is read, on one line: sentences stay whole over their line breaks."""
    reader = pypdf.PdfReader(io.BytesIO(printed(printable)))
    return one_line(" ".join(page.extract_text() for page in reader.pages))


def number(text: str) -> Decimal:
    return D(text.replace("−", "-").replace(",", "").replace("$", ""))  # a total carries its currency's sign


def half_up(amount: Decimal) -> Decimal:
    """Rounded apart from the program: this is the test's own arithmetic."""
    return amount.quantize(D("0.01"), ROUND_HALF_UP)


def recompute(text: str) -> dict[str, Decimal]:
    """Every sum of a paper, recomputed from the rows in its text; each row is held to quantity times price."""
    labor_net, parts_net, other_net = D(0), D(0), D(0)
    for line in text.splitlines():
        row = ROW.match(line.strip())
        if row is None:
            continue
        net = number(row["net"])
        assert half_up(number(row["quantity"]) * number(row["price"])) == net, line
        if row["unit"] == "hr":
            labor_net += net
        elif row["condition"]:
            parts_net += net
        else:
            other_net += net
    taxes = [tax for line in text.splitlines() if (tax := TAX.search(line.strip()))]
    for tax in taxes:
        assert half_up(number(tax["base"]) * D(tax["percent"]) / 100) == number(tax["tax"]), tax[0]
    net = labor_net + parts_net + other_net
    return {
        "Labor": labor_net,
        "Parts and fluid": parts_net,
        "Sublet and charges": other_net,
        "Before tax": net,
        "Total": net + sum((number(tax["tax"]) for tax in taxes), D(0)),
    }


def sums_in(text: str) -> dict[str, Decimal]:
    """The sums as the paper states them."""
    found = [SUM.search(line.strip()) for line in text.splitlines() if not ROW.match(line.strip())]
    return {re.sub("Total due|Credited", "Total", row["label"]): number(row["amount"]) for row in found if row}


def test_every_sum_of_an_invoice_follows_from_its_own_text(garage: Garage) -> None:
    fluid = garage.fluid()
    first = [labor("1.4"), garage.poured(fluid, "1.700"), part("Plug kit PK-12", "18.50")]
    second = [labor("1.1"), part("Pad set, rear", "74.90"), charge("Used oil disposal", "4.00")]
    text = text_of(papers.invoice_paper(garage.issue(garage.done(first, second)).pk))
    recomputed = recompute(text)
    assert recomputed["Total"] == D("536.04")  # 521.44 and 7.25 % of 201.44
    assert sums_in(text) == recomputed


@pytest.mark.parametrize(("size", "lines"), [("Letter", 3), ("A4", 3), ("Letter", 30), ("A4", 30), ("Letter", 100)])
def test_long_papers_repeat_their_head_and_lose_no_row(
    garage: Garage, shop: ShopProfile, size: str, lines: int
) -> None:
    ShopProfile.objects.update(page_size=size)
    rows = [part(f"Clip no. {number}", f"{number}.35") for number in range(lines)]
    invoice = garage.issue(garage.done([labor("1"), *rows]))
    pdf = printed(papers.invoice_paper(invoice.pk))
    pages = pages_of(pdf)
    width, height = (round(float(side)) for side in pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox[2:])
    assert (width, height) == {"Letter": (612, 792), "A4": (595, 842)}[size]
    text = "\n".join(pages)
    assert all(f"Clip no. {number} " in text for number in range(lines))
    assert recompute(text)["Total"] == invoice.gross
    for page_number, page in enumerate(pages, start=1):
        assert f"page {page_number} of {len(pages)}" in page
        if "Clip no." in page:
            assert re.search(r"Work and parts\s+Condition\s+Quantity\s+Unit price\s+Amount", page)
        if page_number > 1:
            assert one_line(page).startswith(f"Invoice {invoice.label} · KET-118 Test garage")


def test_an_invoice_repeats_the_phone_authorization_of_an_addition(garage: Garage) -> None:
    # A4: Cal. Bus. & Prof. Code 9884.9, 16 CCR 3356(e): date, time, name, number, the added parts and labor, what
    # they add, and the revised total (seen in part).
    job = garage.job([labor("1")])
    garage.authorize(garage.estimate(job))
    garage.into_bay(job)
    added = garage.operation(job, "Rear brake pads", labor("0.5"), part())
    garage.now += dt.timedelta(hours=2)
    garage.authorize(
        garage.estimate(job), decisions={added.pk: ("authorized", "")}, limit=D("266.90"), person_name="Piet Marrant",
        contact="555-0143",
    )  # fmt: skip
    garage.finish(job)
    text = read_out(papers.invoice_paper(garage.issue(job).pk))
    assert "Mar 2, 2026, 9:00 AM EST" in text
    assert "Piet Marrant, designated by the customer, by telephone 555-0143; taken by Counter Test" in text
    assert "+$138.90 $266.90" in text
    assert "Rear brake pads $138.90" in text
    assert "$272.33 with tax" in text  # 266.90 and 7.25 % of 74.90


def test_an_invoice_shows_labor_and_parts_apart_before_tax_and_the_condition_of_parts(garage: Garage) -> None:
    # I1: Cal. Bus. & Prof. Code 9884.8, 16 CCR 3356(b), (c) (source text seen).
    rows = [labor("1.5", "120.00"), part("Starter", "120.00", condition="rebuilt")]
    text = text_of(papers.invoice_paper(garage.issue(garage.done(rows)).pk))
    assert re.search(r"Starter\s+rebuilt\s+1\s+120\.00\s+120\.00", text)
    assert sums_in(text) == {
        "Labor": D("180.00"),
        "Parts and fluid": D("120.00"),
        "Before tax": D("300.00"),
        "Total": D("308.70"),
    }
    assert re.search(r"Sales tax 7\.25% on 120\.00\s+8\.70", text)
    for said in ("shop license T-1", "Test garage", "1 Test Row", "Odile Marrant", "88,410 mi in", "88,414 mi out"):
        assert said in text


def test_an_estimate_holds_what_the_strictest_places_ask(garage: Garage) -> None:
    # 16 CCR 3353, 15 NYCRR 82.5(a) and 82.8, RCW 46.71.015, Ontario Reg. 17/05 (see the requirement of each below).
    promised = garage.now + dt.timedelta(days=1)
    job = garage.job([labor("1.4"), part(condition="used")], promised_at=promised)
    sublet = charge("Wheel alignment", "95.00", kind="sublet", tax_class="sublet", sublet_to="Straightline Alignment")
    garage.operation(job, "Alignment", sublet)
    change_job(job=job, fields={"parts_wish": "return"}, actor=garage.actor, clock=fixed(garage.now))
    text = read_out(papers.estimate_paper(garage.estimate(job).pk))
    for said in (
        "Estimate 1-1",
        "shop license T-1",
        "Odile Marrant",
        "4 Quay Street",
        "2016 Brannock Fell 2.4",
        "plate KET-118",
        "88,410 mi in",
        "“Shudder when pulling away on full lock.”",  # the problem in the customer's words
        "1 · Operation 1",
        "254.10",  # a price for each operation
        "Pad set, rear used 1 74.90 74.90",  # the condition of each part
        "work done by Straightline Alignment",  # sublet work is named
        "labor $128.00 an hour, by the hours written in the procedure",
        "valid until Apr 1, 2026",
        "ready by Mar 3, 2026, 7:00 AM",
        "The customer wants the replaced parts back.",
        "Labor 179.20",
        "Parts and fluid 74.90",
        "Before tax 349.10",
        "Sales tax 7.25% on 74.90 5.43",
        "Total $354.53",
        "I authorize the work marked on this estimate",
        "Signature",
        "You may have this estimate on paper",
    ):
        assert said in text, said


def test_a_revised_estimate_says_what_changed_and_the_revised_total(garage: Garage) -> None:
    job = garage.job([labor("1")])
    garage.estimate(job)
    garage.operation(job, "Rear brake pads", part())
    text = read_out(papers.estimate_paper(garage.estimate(job).pk))
    assert "Changed since estimate 1-1 – New: “Rear brake pads”, $74.90." in text
    assert "Total with tax $208.33 instead of $128.00: $80.33 more." in text


def test_an_invoice_says_what_was_noticed_declined_and_guaranteed(garage: Garage, shop: ShopProfile) -> None:
    ShopProfile.objects.update(warranty_text="12 months or 12,000 mi.")
    job = garage.job([labor("1")], [part("Wiper blades", "21.00")])
    garage.authorize(garage.estimate(job), {job.operations.get(position=2).pk: "next time"})
    garage.into_bay(job)
    assert job.vehicle is not None
    Advisory.objects.create(vehicle=job.vehicle, job=job, text="Arm bush cracking", limit="driving", at=garage.now)
    garage.finish(job)
    text = read_out(papers.invoice_paper(garage.issue(job).pk))
    assert "Arm bush cracking; to be done before driving." in text
    assert "Operation 2, in the customer’s words: “next time”." in text
    assert "12 months or 12,000 mi. Counted from Mar 2, 2026 and 88,414 mi." in text


def test_a_credit_note_names_its_invoice_and_its_reason(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1"), part("Clip", "3.00", "3")]))
    note = garage.credit(invoice, lines={InvoiceLine.objects.get(kind="part").pk: D(2)}, reason="Two too many")
    text = text_of(papers.invoice_paper(note.pk))
    assert "Credit memo 2026-0002" in text
    assert "Corrects invoice 2026-0001 of Mar 2, 2026. Two too many" in one_line(text)
    assert recompute(text)["Total"] == note.gross == D("-6.44")


def test_an_exempt_paper_prints_the_certificate(garage: Garage) -> None:
    fleet = garage.customer("Fernhollow School", tax_exempt=True, exemption_certificate="EX-77")
    text = one_line(text_of(papers.invoice_paper(garage.issue(garage.done([part()], customer=fleet)).pk)))
    assert "Exempt from tax, certificate EX-77 0.00" in text


def test_fluid_is_printed_in_both_units(garage: Garage) -> None:
    text = text_of(papers.invoice_paper(garage.issue(garage.done([garage.poured(garage.fluid(), "0.850")])).pk))
    # 0.850 L is 0.898 US qt, 61.20 a liter is 57.92 a quart: 0.946352946 L a quart (NIST Handbook 44).
    assert re.search(r"0\.850 L\s+61\.20 / L\s+52\.02\s+0\.898 qt\s+57\.92 / qt", text)


def test_drafts_say_so_and_have_no_number_and_nothing_to_sign(garage: Garage) -> None:
    job = garage.job([labor("1")])
    text = text_of(papers.estimate_draft(job.pk))
    assert "Draft. Prices may change" in text and "Signature" not in text
    garage.authorize(garage.estimate(job))
    garage.finish(garage.into_bay(job))
    assert "it is no invoice and has no number" in one_line(text_of(papers.invoice_draft(job.pk)))


def test_what_a_customer_writes_stays_text_on_the_paper(garage: Garage) -> None:
    nasty = garage.customer('<img src=x> & "Sons"')
    job = garage.done([part("<b>Clip</b> & <script>alert(1)</script>")], customer=nasty)
    text = text_of(papers.invoice_paper(garage.issue(job).pk))
    assert "<b>Clip</b> & <script>alert(1)</script>" in text and "<img src=x>" in text


@pytest.mark.parametrize("kind", ["estimate", "invoice"])
def test_the_file_is_an_archive_that_can_be_read_aloud(garage: Garage, kind: str) -> None:
    # ISO 19005-3 level A asks for these marks, ISO 14289-1 for the last; what only a validator can say is not claimed.
    job = garage.done([labor("1"), part("Łącznik, żółty")])
    paper = (
        papers.estimate_paper(job.estimates.get().pk)
        if kind == "estimate"
        else papers.invoice_paper(garage.issue(job).pk)
    )
    with pikepdf.open(io.BytesIO(printed(paper))) as pdf:
        with pdf.open_metadata() as metadata:
            assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "A")
            assert metadata["pdfuaid:part"] == "1"
        assert str(pdf.Root.Lang) == "en-US"
        assert pdf.Root.MarkInfo.Marked and "/StructTreeRoot" in pdf.Root and "/OutputIntents" in pdf.Root
        assert str(pdf.docinfo["/Title"]).startswith("Estimate" if kind == "estimate" else "Invoice")
        assert not pdf.is_encrypted
        names = {str(key) for key in pdf.Root}
        assert not names & {"/OpenAction", "/AA", "/JavaScript"}
        fonts = [
            row for row in pdf.objects if isinstance(row, pikepdf.Dictionary) and row.get("/Type") == "/FontDescriptor"
        ]
        assert fonts
        for font in fonts:
            assert any(key in font for key in ("/FontFile2", "/FontFile3")), font
            assert "Barlow" in str(font.FontName), font.FontName
        roles = {
            str(row.S) for row in pdf.objects if isinstance(row, pikepdf.Dictionary) and "/S" in row and "/K" in row
        }
        assert {"/H1", "/H2", "/Table", "/TH", "/TR", "/TD"} <= roles
        pictures = [row for row in pdf.objects if isinstance(row, pikepdf.Dictionary) and row.get("/S") == "/Figure"]
        assert pictures and all("/Alt" in row for row in pictures)


def test_the_worker_makes_and_keeps_the_paper_of_an_issued_invoice(garage: Garage) -> None:
    invoice = garage.issue(garage.done([labor("1")]))
    printer = documents.Printer()
    try:
        documents.make_wanted(printer, now=garage.now)
    finally:
        printer.close()
    made = Document.objects.get(kind="invoice", source=invoice.pk)
    assert (made.state, made.problem) == ("made", "")
    assert made.stored is not None
    assert made.stored.file.open().read().startswith(b"%PDF-1.7")


# What was paid before


def test_an_invoice_after_a_deposit_shows_it_taken_off_and_what_is_left_to_pay(garage: Garage) -> None:
    job = garage.job([labor("1.4"), part()])
    garage.authorize(garage.estimate(job))
    garage.deposit(job, "60.00")
    garage.finish(garage.into_bay(job))
    draft = read_out(papers.invoice_draft(job.pk))
    text = read_out(papers.invoice_paper(garage.issue(job).pk))
    for said in (draft, text):  # 179.20 and 74.90 with 5.43 of tax: the deposit is no sale and bears none
        assert "Total $259.53 Deposit applied −60.00 Balance due $199.53" in said


def test_a_draft_is_printed_anew_once_a_deposit_was_taken(garage: Garage) -> None:
    job = garage.job([labor("1.4"), part()])
    garage.authorize(garage.estimate(job))
    job = queries.sheets().get(pk=job.pk)
    before = papers.draft_version(job)
    garage.deposit(job, "60.00")
    assert papers.draft_version(job) != before


@pytest.fixture
def taxed(garage: Garage) -> Garage:
    """A garage where everything bears 20% and deposits are taxed."""
    TaxRate.objects.all().delete()
    garage.rates(parts="0.20", labor="0.20", charge="0.20")
    ShopProfile.objects.update(deposits_taxed=True)
    return garage


def test_an_advance_invoice_states_net_class_rate_and_tax(taxed: Garage) -> None:
    # The tax of a payment on account: EU Directive 2006/112/EC, art. 65 and 226 (from memory).
    job = taxed.job([labor("1.4"), part()])
    taxed.authorize(taxed.estimate(job))
    payment = taxed.deposit(job, "120.00")
    text = text_of(papers.invoice_paper(Invoice.objects.get().pk))
    assert "Advance invoice 2026-0001" in text and "Deposit for labor, parts and fluid" in text
    assert re.search(r"Before tax\s+100\.00\n+.*Sales tax 20% on 100\.00\s+20\.00\n+.*Total\s+\$120\.00", text)
    assert not re.search(r"Labor\s+0\.00|Every part is new|Total due", text)
    receipt = read_out(papers.receipt_paper(payment.pk))
    assert "Deposit on job 1, No. 2026-0001" in receipt and "Received $120.00" in receipt
    assert "taken off the total when the work is billed" in receipt and "paid in full" not in receipt


def test_the_final_invoice_takes_net_and_tax_off_and_so_does_its_draft_and_its_credit_note_puts_them_back(
    taxed: Garage,
) -> None:
    job = taxed.job([labor("1.4"), part(), charge("Used oil disposal", "4.00")])
    taxed.authorize(taxed.estimate(job))
    taxed.deposit(job, "120.00")
    taxed.finish(taxed.into_bay(job))
    draft = text_of(papers.invoice_draft(job.pk))
    final = taxed.issue(job)
    text, note = (text_of(papers.invoice_paper(row.pk)) for row in (final, taxed.credit(final)))
    for said, sign in ((draft, 1), (text, 1), (note, -1)):
        # 258.10 less 100.00; 20 % of 258.10 is 51.62, less the 20.00 that the advance invoice stated
        recomputed = recompute(said)
        advanced = recomputed.pop("Sublet and charges") - sign * D("4.00")
        assert (advanced, recomputed["Before tax"], recomputed["Total"]) == (
            sign * D("-100.00"), sign * D("158.10"), sign * D("189.72"),
        )  # fmt: skip
        assert sums_in(said) == {**recomputed, "Sublet and charges": sign * D("4.00")}
        assert "Less advance invoice 2026-0001 of Mar 2, 2026" in said
        assert re.search(r"Invoiced in advance\s+−?100\.00\n", said)
        assert re.search(r"Sales tax 20% on −?100\.00, in advance\s+−?20\.00", said)
