"""What an invoice adds up to. Cases of sales tax name the rule or the printed example they come from."""

import csv
import json
import pathlib
from decimal import Decimal as D
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from invoicing.totals import ChargeLine, TaxRate, TaxRow, Totals, line_net, total

REFERENCE = pathlib.Path(__file__).parents[1] / "reference"
INVOICES = json.loads((REFERENCE / "en16931-invoices.json").read_text())["invoices"]
ROUNDING = json.loads((REFERENCE / "vat-rounding.json").read_text())
with (REFERENCE / "en16931-vat-breakdown.csv").open() as file:
    BREAKDOWN = list(csv.DictReader(file))

# What a caller may hand over by mistake: Any, so that the type checker lets it through to the check.
FLOAT: Any = 0.5
TRUE: Any = True


def lines(*nets_and_classes: tuple[str, str]) -> list[ChargeLine]:
    return [ChargeLine(D(net), tax_class) for net, tax_class in nets_and_classes]


def percent(tax_class: str, rate: str, label: str = "Sales tax") -> TaxRate:
    return TaxRate(tax_class, label, D(rate) / 100)


def tax_of(totals: Totals) -> D:
    return sum((row.tax for row in totals.taxes), D(0))


# Official figures


@pytest.mark.parametrize("row", BREAKDOWN, ids=lambda row: f"{row['file']} {row['category']}{row['rate']}")
def test_an_official_breakdown_of_one_rate(row):
    # Source: official EN 16931 files, named in each row; compared exactly, the official validator is laxer.
    totals = total([ChargeLine(D(row["taxable"]), "S")], [percent("S", row["rate"] or "0")])
    assert tax_of(totals) == D(row["tax"])


@pytest.mark.parametrize("invoice", INVOICES, ids=lambda invoice: invoice["file"])
def test_an_official_invoice_adds_up(invoice):
    # Source: official EN 16931 example invoices, named in each.
    charges = [*invoice["lines"], *invoice["document_charges"]]
    rates = [percent(row["class"], row["rate"] or "0", row["class"]) for row in invoice["breakdown"]]
    totals = total([ChargeLine(D(charge["net"]), charge["class"]) for charge in charges], rates)
    assert totals.net == D(invoice["net"])
    assert tax_of(totals) == D(invoice["tax"] or "0")
    assert totals.gross == D(invoice["gross"])
    printed = {row["class"]: (D(row["taxable"]), D(row["tax"])) for row in invoice["breakdown"]}
    assert {row.label: (row.base, row.tax) for row in totals.taxes} == printed


@pytest.mark.parametrize(
    "line",
    [line for invoice in INVOICES for line in invoice["lines"] if line["price_makes_net"]],
    ids=lambda line: f"{line['quantity']} x {line['price']}",
)
def test_an_official_line_is_quantity_times_price(line):
    assert line_net(D(line["quantity"]), D(line["price"])) == D(line["net"])


@pytest.mark.parametrize("case", ROUNDING["half_way"], ids=lambda case: case["x"])
def test_half_a_cent_goes_away_from_zero(case):
    # Source: each row names its own.
    assert line_net(D(1), D(case["x"])) == D(case["half_up"])
    assert tax_of(total([ChargeLine(D(case["x"]), "all")], [percent("all", "100")])) == D(case["half_up"])


@pytest.mark.parametrize("case", ROUNDING["inclusive"], ids=lambda case: f"{case['gross']} at {case['rate']}")
def test_the_net_taken_out_of_an_inclusive_price_gives_the_price_back(case):
    # Source: arithmetic of the VAT fraction, each row names its own.
    totals = total([ChargeLine(D(case["net"]), "VAT")], [percent("VAT", case["rate"])])
    assert (tax_of(totals), totals.gross) == (D(case["tax"]), D(case["gross"]))


# Rounding


def test_r1_the_exact_product_is_rounded_once_and_not_by_way_of_three_places():
    # Streamlined Sales and Use Tax Agreement § 324: 9.78 at 7 % = 0.6846, which is 0.68 (by way of 0.685: 0.69).
    assert tax_of(total(lines(("9.78", "parts")), [percent("parts", "7")])) == D("0.68")


@pytest.mark.parametrize(("basis", "tax"), [("line", "2.10"), ("invoice", "2.11")])
def test_r3_three_times_10_05_at_7_percent_by_item_and_by_invoice(basis, tax):
    # Streamlined Sales and Use Tax Agreement § 324: the seller chooses the basis; computed.
    totals = total(lines(*[("10.05", "parts")] * 3), [percent("parts", "7")], basis=basis)
    assert tax_of(totals) == D(tax)
    assert totals.gross == D("30.15") + D(tax)


@pytest.mark.parametrize(("rounding", "tax", "gross"), [("down", "140.97", "845.85"), ("half_up", "140.98", "845.86")])
def test_r4_704_88_at_20_percent_down_and_half_up(rounding, tax, gross):
    # VATREC12010 (HMRC); the sum from a training forum.
    totals = total(lines(("704.88", "VAT")), [percent("VAT", "20")], rounding=rounding)
    assert (tax_of(totals), totals.gross) == (D(tax), D(gross))


def test_r6_250_with_20_percent_inside_is_208_33_and_41_67():
    # The 1/6 fraction, from memory.
    totals = total(lines(("208.33", "VAT")), [percent("VAT", "20")])
    assert (tax_of(totals), totals.gross) == (D("41.67"), D("250.00"))


def test_a_credit_rounded_down_takes_back_exactly_what_was_charged():
    charged = total(lines(("704.88", "VAT")), [percent("VAT", "20")], rounding="down")
    credited = total(lines(("-704.88", "VAT")), [percent("VAT", "20")], rounding="down")
    assert credited.gross == -charged.gross


def test_no_tax_is_ever_minus_zero():
    for rounding in ("half_up", "down"):
        (row,) = total(lines(("-0.01", "VAT")), [percent("VAT", "20")], rounding=rounding).taxes
        assert str(row.tax) == "0.00"


# Sales tax on repairs


def test_s1_california_taxes_a_battery_with_its_core_and_the_core_comes_off_after_tax():
    # Board text, seen in a copy: 54.00 with a core of 7.00 at 7 %: 3.78; after the trade-in 50.78.
    totals = total(lines(("47.00", "parts"), ("7.00", "parts"), ("-7.00", "none")), [percent("parts", "7")])
    assert totals.taxes == [TaxRow("Sales tax", D("54.00"), D("0.07"), D("3.78"))]
    assert totals.gross == D("50.78")


def test_s5_washington_leaves_the_core_out_of_the_base():
    # RCW 82.08.036, computed.
    totals = total(lines(("47.00", "parts"), ("7.00", "none")), [percent("parts", "10")])
    assert totals.taxes == [TaxRow("Sales tax", D("47.00"), D("0.10"), D("4.70"))]
    assert totals.gross == D("58.70")


def test_s7_iowa_leaves_out_materials_that_are_listed_apart():
    # State text quoted by a trade body; tax computed.
    charged = lines(("300.00", "taxed"), ("300.00", "taxed"), ("100.00", "none"))
    totals = total(charged, [percent("taxed", "7")])
    assert (totals.taxes[0].base, tax_of(totals), totals.gross) == (D(600), D("42.00"), D("742.00"))


def test_s8_iowa_taxes_the_whole_when_materials_are_not_listed():
    # State text quoted by a trade body; tax computed.
    totals = total(lines(("350.00", "taxed"), ("350.00", "taxed")), [percent("taxed", "7")])
    assert (totals.taxes[0].base, tax_of(totals)) == (D(700), D("49.00"))


def test_s9_new_york_taxes_an_excise_that_the_maker_paid():
    # 20 NYCRR 526.5: 1,040 + 60 = 1,100; 7 % = 77; 1,177.
    totals = total(lines(("1040.00", "taxed"), ("60.00", "taxed")), [percent("taxed", "7")])
    assert (totals.taxes[0].base, tax_of(totals), totals.gross) == (D(1100), D("77.00"), D("1177.00"))


def test_s11_california_taxes_the_share_of_a_mixed_fee_that_follows_the_parts():
    # Annot. 295.1318: parts 120, labor 180, fee 10.00 prorated 4.00 to 6.00; 7.25 % on 124.00; computed.
    parts, labor, fee = D(120), D(180), D(10)
    taxed = line_net(fee, parts / (parts + labor))
    charged = [
        ChargeLine(parts, "parts"),
        ChargeLine(labor, "none"),
        ChargeLine(taxed, "parts"),
        ChargeLine(fee - taxed, "none"),
    ]
    totals = total(charged, [percent("parts", "7.25")])
    assert totals.taxes == [TaxRow("Sales tax", D("124.00"), D("0.0725"), D("8.99"))]
    assert totals.gross == D("318.99")


def test_s14_california_taxes_fabrication_but_not_repair_labor():
    # CDTFA guide for repair garages.
    rates = [percent("fabrication", "7.25")]
    assert total(lines(("150.00", "none")), rates) == Totals(D(150), [], D(150))
    assert tax_of(total(lines(("150.00", "fabrication")), rates)) == D("10.88")


def test_s15_new_york_taxes_parts_and_labor():
    # TB-ST-40, computed.
    totals = total(lines(("100.00", "parts"), ("100.00", "labor")), [percent("parts", "8"), percent("labor", "8")])
    assert (tax_of(totals), totals.gross) == (D("16.00"), D("216.00"))


# Rows


def test_rows_follow_the_lines_then_the_rates_and_each_tax_of_a_class_has_its_own():
    rates = [
        percent("parts", "6", "State"),
        percent("labor", "2", "Service tax"),
        percent("parts", "1.25", "County"),
        percent("unused", "9", "Not here"),
    ]
    totals = total(lines(("10.00", "labor"), ("100.00", "parts"), ("20.00", "labor")), rates)
    assert totals.taxes == [
        TaxRow("Service tax", D(30), D("0.02"), D("0.60")),
        TaxRow("State", D(100), D("0.06"), D("6.00")),
        TaxRow("County", D(100), D("0.0125"), D("1.25")),
    ]
    assert totals.net == D(130)
    assert totals.gross == D("137.85")


def test_a_rate_of_zero_still_gives_a_row():
    assert total(lines(("80.00", "export")), [percent("export", "0", "VAT")]).taxes == [
        TaxRow("VAT", D(80), D(0), D(0))
    ]


def test_an_invoice_without_a_line_is_zero():
    assert total([], []) == Totals(D(0), [], D(0))
    assert str(total([], []).gross) == "0.00"


# Lines


@pytest.mark.parametrize(
    ("quantity", "price", "discount", "net"),
    [
        ("0.85", "36", "0", "30.60"),
        ("1.5", "120.00", "0.10", "162.00"),
        ("3", "19.99", "1", "0.00"),
        ("-1", "45.005", "0", "-45.01"),
        ("0.946352946", "36", "0", "34.07"),
        ("1", "1.01", "0.5", "0.51"),
        ("0.1", "0.05", "0", "0.01"),
    ],
)
def test_a_line_is_rounded_once_after_its_discount(quantity, price, discount, net):
    # Common practice, no source.
    assert line_net(D(quantity), D(price), D(discount)) == D(net)


def test_a_line_without_a_discount_shows_two_places():
    assert str(line_net(D(2), D(5))) == "10.00"


# Laws

nets = st.decimals(-5000, 5000, places=2)
charge_lines = st.lists(st.builds(ChargeLine, nets, st.sampled_from(["parts", "labor", "none"])), max_size=20)
some_rates = [percent("parts", "6", "State"), percent("parts", "1.25", "County"), percent("labor", "4.5", "State")]


@given(charged=charge_lines, basis=st.sampled_from(["invoice", "line"]), rounding=st.sampled_from(["half_up", "down"]))
def test_lines_rows_and_totals_add_up(charged, basis, rounding):
    totals = total(charged, some_rates, basis, rounding)
    assert totals.net == sum(line.net for line in charged)
    assert totals.gross == totals.net + tax_of(totals)
    bases = {
        tax_class: sum(line.net for line in charged if line.tax_class == tax_class) for tax_class in ("parts", "labor")
    }
    assert {row.label: row.base for row in totals.taxes if row.rate != D("0.045")} == (
        {"State": bases["parts"], "County": bases["parts"]} if any(c.tax_class == "parts" for c in charged) else {}
    )
    assert [row.base for row in totals.taxes if row.rate == D("0.045")] == (
        [bases["labor"]] if any(c.tax_class == "labor" for c in charged) else []
    )


@given(charged=charge_lines)
def test_by_invoice_each_tax_is_within_half_a_cent_of_the_exact_one(charged):
    for row in total(charged, some_rates).taxes:
        assert abs(row.tax - row.base * row.rate) <= D("0.005")


@given(charged=charge_lines, basis=st.sampled_from(["invoice", "line"]), rounding=st.sampled_from(["half_up", "down"]))
def test_a_credit_note_of_every_line_is_the_invoice_with_its_sign_changed(charged, basis, rounding):
    credit = [ChargeLine(-line.net, line.tax_class) for line in charged]
    assert total(credit, some_rates, basis, rounding).gross == -total(charged, some_rates, basis, rounding).gross


# Refusals


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda: total(lines(("1", "parts")), []), 'Tax class "parts" has no rate'),
        (lambda: total(lines(("1", "")), []), "Tax class of line 1 is missing"),
        (lambda: total(lines(("NaN", "none")), []), "Net of line 1 must be a finite number"),
        (lambda: total([ChargeLine(FLOAT, "none")], []), "Net of line 1 must be an exact decimal number"),
        (lambda: total([], [TaxRate("parts", "VAT", D("7.25"))]), "Rate 1 must be a share from 0 to 1"),
        (lambda: total([], [TaxRate("parts", "VAT", D("-0.1"))]), "Rate 1 must not be below zero"),
        (lambda: total([], [TaxRate("parts", "VAT", FLOAT)]), "Rate 1 must be an exact decimal number"),
        (lambda: total([], [TaxRate("parts", "", D(0))]), "Label of rate 1 is missing"),
        (lambda: total([], [percent("parts", "7"), percent("parts", "7.0")]), "Rate 2 is given twice"),
        (lambda: total([], [], basis="item"), "Basis must be one of invoice, line"),
        (lambda: total([], [], rounding="up"), "Rounding must be one of half_up, down"),
        (lambda: line_net(D(1), D(1), D("1.01")), "Discount must be a share from 0 to 1"),
        (lambda: line_net(D(1), D(1), D("-0.01")), "Discount must not be below zero"),
        (lambda: line_net(D(1), D(1), FLOAT), "Discount must be an exact decimal number"),
        (lambda: line_net(D("Infinity"), D(1)), "Quantity must be a finite number"),
        (lambda: line_net(TRUE, D(1)), "Quantity must be an exact decimal number"),
        (lambda: line_net(D(1), D("NaN")), "Unit price must be a finite number"),
    ],
)
def test_a_figure_that_makes_no_sense_is_refused_by_name(ask, sentence):
    with pytest.raises(ValueError, match=sentence):
        ask()
