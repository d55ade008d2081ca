"""The people and cars of Lower Fernhollow. Town, names, makes and models are invented; none of them exists.

Telephone numbers are from 555-0100 to 555-0199, which North America keeps free for fiction; mail is at example.com,
which RFC 2606 keeps free for examples. The VINs begin with letters that belong to no maker, and carry a check digit
that adds up.
"""

from dataclasses import dataclass
from typing import Final

from garage.vin import check_digit

SHOP: Final = {
    "name": "Fernhollow Garage",
    "address": "12 Tannery Row\nLower Fernhollow",
    "phone": "555-0100",
    "email": "garage@example.com",
    "license_number": "DEMO-0000",
    "waste_id": "DEMO-WASTE-0000",
    "time_zone": "America/New_York",
    "estimate_text": "Prices hold for the work named here. We call before anything is added.",
    "invoice_text": "Used parts are kept for a week. Have the lug nuts checked 50 miles after a wheel was off.",
    "warranty_text": "12 months or 12,000 mi on this work, parts and labor, whichever comes first.",
    "payment_days": 14,
}


@dataclass(frozen=True)
class Login:
    """Somebody who works with the demo; the password is for the demo alone and is printed when it is loaded."""

    username: str
    name: str
    role: str
    password: str


LOGINS: Final = (
    Login("owner", "Maren Sund", "owner", "tannery-row-12"),
    Login("counter", "Jonas Abara", "counter", "open-at-seven-30"),
    Login("technician", "Rafael Oduya", "technician", "fill-plug-first"),
    Login("reader", "Iris Copley", "reader", "sums-that-add-up"),
)


@dataclass(frozen=True)
class Model:
    """A make and model; `maker` begins its VINs."""

    make: str
    model: str
    engine: str
    drivetrain: str
    maker: str
    carries: bool = False


MODELS: Final = {
    "fell": Model("Brannock", "Fell 2.4 wagon", "2.4 gasoline", "4x4, six-speed automatic", "5ZB"),
    "tarn": Model("Brannock", "Tarn 1.8", "1.8 gasoline", "front-wheel drive, six-speed manual", "5ZB"),
    "beck": Model("Brannock", "Beck 1.2", "1.2 gasoline", "front-wheel drive, five-speed manual", "5ZB"),
    "plowman": Model("Merrowick", "Plowman 3.0 pickup", "3.0 diesel", "4x4, six-speed automatic", "5ZH", True),
    "harrow": Model("Merrowick", "Harrow 2.2 van", "2.2 diesel", "rear-wheel drive, six-speed manual", "5ZH", True),
    "ridge": Model("Ostreva", "Ridge 2.5", "2.5 gasoline", "all-wheel drive, six-speed automatic", "5ZK"),
    "calla": Model("Ostreva", "Calla 1.6 sedan", "1.6 gasoline", "front-wheel drive, six-speed automatic", "5ZK"),
    "quill": Model("Tolvane", "Quill 2.0 wagon", "2.0 gasoline", "front-wheel drive, six-speed automatic", "5ZL"),
    "sprig": Model("Tolvane", "Sprig 1.0", "1.0 gasoline", "front-wheel drive, five-speed manual", "5ZL"),
    "moor": Model("Caldrith", "Moor 2.5", "2.5 gasoline", "4x4, eight-speed automatic", "5ZS"),
    "verger": Model("Penhallow", "Verger 2.0 sedan", "2.0 gasoline", "rear-wheel drive, eight-speed automatic", "5ZV"),
}

_YEARS: Final = "ABCDEFGHJKLMNPRSTVWXY123456789"  # 49 CFR 565.15, Table VII: 1980 is A, and again 2010


def vin_of(maker: str, model: str, year: int, serial: int) -> str:
    """A VIN of nobody's: the maker's three letters, the model's, and the check digit of 49 CFR 565.15(c)."""
    cycle = "A" if year >= 2010 else "4"  # position 7: a letter since 2010, a digit before
    body = f"{maker}{model[:3].upper().replace('I', '1').replace('O', '0').replace('Q', '9')}{cycle}7"
    rest = f"{_YEARS[(year - 1980) % 30]}F{serial:06d}"
    return body + check_digit(f"{body}0{rest}") + rest


@dataclass(frozen=True)
class Car:
    """A car: `age` in model years when the demo is loaded, `miles` a year."""

    plate: str
    model: str
    age: int
    color: str
    miles: int
    notes: str = ""
    vin: bool = True


@dataclass(frozen=True)
class Person:
    """A customer with their cars; `since` is how many months after the book began they first came."""

    name: str
    address: str
    phones: tuple[tuple[str, str], ...]
    emails: tuple[tuple[str, str], ...] = ()
    cars: tuple[Car, ...] = ()
    notes: str = ""
    contact: str = ""
    designated: tuple[tuple[str, str], ...] = ()
    company: bool = False
    exempt: str = ""
    orders: bool = False
    payment_days: int | None = None
    since: int = 0


def _person(name: str, street: str, phone: str, *cars: Car, mail: str = "", place: str = "", **more: object) -> Person:
    address = f"{street}\n{place or 'Lower Fernhollow'}"
    emails = ((f"{mail}@example.com", ""),) if mail else ()
    return Person(name, address, ((f"555-{phone}", "mobile"),), emails, cars, **more)  # type: ignore[arg-type]


COMPANIES: Final = (
    Person(
        "Ashgrove Landscaping", "3 Foundry Yard\nLower Fernhollow",
        (("555-0110", "office"), ("555-0111", "yard")),
        (("office@example.com", "office"), ("accounts@example.com", "accounts")),
        (
            Car("ASH-201", "plowman", 7, "green", 13000, "Tows a trailer most days."),
            Car("ASH-202", "plowman", 4, "green", 15000),
            Car("ASH-207", "harrow", 9, "white", 14000),
        ),
        contact="Greta Monk", designated=(("Piet Voss", "555-0111"),), company=True, payment_days=30,
    ),
    Person(
        "Lower Fernhollow Water District", "1 Weir Road\nLower Fernhollow",
        (("555-0112", "office"), ("555-0113", "on call")), (("works@example.com", "works"),),
        (
            Car("LFW-001", "plowman", 5, "white", 12000),
            Car("LFW-002", "harrow", 6, "white", 9000),
            Car("LFW-003", "fell", 8, "white", 8000),
        ),
        contact="Anselm Drury", designated=(("Sigrid Aas", "555-0113"),), company=True, exempt="EX-20417",
        orders=True, payment_days=30,
    ),
    Person(
        "Millrace Bakery", "8 Millrace Lane\nLower Fernhollow",
        (("555-0114", "shop"), ("555-0115", "owner")), (("bakery@example.com", ""),),
        (Car("MIL-310", "harrow", 5, "cream", 16000, "Out from 4 in the morning; bring it back by noon."),),
        contact="Bernadette Quist", company=True,
    ),
    Person(
        "Pike & Daughters Plumbing", "21 Kiln Hill\nLower Fernhollow", (("555-0116", "office"),),
        (("pike@example.com", "office"),),
        (Car("PDP-118", "harrow", 8, "blue", 15000), Car("PDP-119", "harrow", 3, "blue", 16000)),
        contact="Harold Pike", designated=(("Nell Pike", "555-0117"), ("Ada Pike", "555-0118")), company=True, since=8,
        payment_days=30,
    ),
    Person(
        "Orchard Steps Clinic", "2 Orchard Steps\nLower Fernhollow", (("555-0119", "reception"),),
        (("clinic@example.com", ""),),
        (Car("OSC-021", "calla", 4, "white", 7000), Car("OSC-022", "calla", 4, "white", 9000)),
        contact="Noor Rahimi", company=True, since=10, payment_days=30,
    ),
    Person(
        "Fernhollow Taxi", "5 Station Approach\nLower Fernhollow", (("555-0120", "office"), ("555-0121", "night")),
        (("taxi@example.com", ""),),
        (
            Car("TAX-011", "quill", 5, "black", 25000),
            Car("TAX-012", "quill", 4, "black", 27000),
            Car("TAX-014", "quill", 6, "black", 23000),
        ),
        contact="Elio Brandt", company=True, since=12,
    ),
)  # fmt: skip

PEOPLE: Final = (
    _person(
        "Odile Marrant", "4 Quay Street", "0142", Car("KET-118", "fell", 9, "gray", 9600), mail="odile",
        notes="Prefers a call. No work above what she authorizes.", designated=(("Piet Marrant", "555-0143"),),
    ),
    _person("Tobias Renn", "17 Millrace Lane", "0122", Car("REN-440", "ridge", 6, "red", 11000), mail="tobias.renn"),
    _person("Ines Calloway", "9 Chapel Bank", "0123", Car("INC-077", "beck", 8, "yellow", 6500), mail="ines"),
    _person(
        "Wendell Okafor", "30 Weir Road", "0124",
        Car("WOK-512", "moor", 5, "black", 14000), mail="wendell", since=5,
    ),
    _person("Petra Lindqvist", "2 Bramble Court", "0125", Car("PLQ-219", "quill", 7, "silver", 12000), since=8),
    _person(
        "Samir Haddadi", "11 Kiln Hill", "0126", Car("SAM-803", "calla", 6, "white", 13000),
        Car("SAM-811", "sprig", 3, "orange", 5000), mail="samir.haddadi", since=8,
    ),
    _person("Luca Ferrante", "6 Old Ferry Road", "0127", Car("LUF-330", "verger", 5, "blue", 15000), mail="luca"),
    _person("Yuki Tanabe", "14 Larkspur Way", "0128", Car("YUK-905", "sprig", 4, "white", 7500), mail="yuki"),
    _person("Harold Spence", "1 Sallow Lane", "0129", Car("HSP-061", "tarn", 14, "brown", 5000)),
    _person(
        "Callum Frey", "Hill Farm", "0130", Car("FRE-714", "plowman", 10, "red", 11000),
        Car("FRE-720", "fell", 12, "green", 9000, vin=False), place="Upper Fernhollow", mail="hillfarm", since=6,
    ),
    _person("Delphine Aubry", "22 Quay Street", "0131", Car("DEL-356", "calla", 3, "red", 9500), mail="delphine"),
    _person("Marcus Thole", "8 Tannery Row", "0132", Car("THO-628", "quill", 9, "gray", 13500), since=10),
    _person("Priya Venkat", "5 Orchard Steps", "0133", Car("PRV-147", "ridge", 3, "blue", 12500), mail="priya"),
    _person("Rosalind Teague", "19 Chapel Bank", "0134", Car("ROS-282", "beck", 11, "red", 4500), since=4),
    _person(
        "Owen Maddick", "Ferry Cottage", "0135", Car("MAD-508", "tarn", 7, "black", 11500),
        place="Ashmere", mail="owen.maddick", since=6,
        notes="Restores old cars; brings his own drawings. Ask before ordering parts.",
    ),
    _person("Hana Kolar", "12 Bramble Court", "0136", Car("HAK-433", "sprig", 6, "green", 8000), mail="hana", since=7),
    _person("Jerome Valk", "7 Weir Road", "0137", Car("VAL-690", "verger", 8, "black", 13000), since=7),
    _person("Thea Winslow", "3 Larkspur Way", "0138", Car("THW-155", "fell", 5, "white", 12000), mail="thea", since=9),
    _person(
        "Dmitri Orlan", "25 Old Ferry Road", "0139",
        Car("ORL-871", "moor", 7, "silver", 10000), mail="dmitri", since=11,
    ),
    _person("Fiona Carrick", "16 Sallow Lane", "0140", Car("FIO-246", "calla", 8, "gray", 10500), mail="fiona"),
    _person(
        "Abel Nuñez", "4 Kiln Hill", "0141", Car("NUN-599", "plowman", 6, "white", 16000),
        Car("NUN-602", "tarn", 5, "gray", 9000), mail="abel.nunez", since=9,
    ),
    _person("Mina Sorrel", "10 Orchard Steps", "0144", Car("SOR-364", "quill", 3, "red", 11000), mail="mina", since=13),
    _person("Otto Hagberg", "28 Millrace Lane", "0145", Car("HAG-020", "ridge", 9, "brown", 8500), since=10),
    _person(
        "Lena Fairweather", "6 Chapel Bank", "0146",
        Car("FAI-777", "sprig", 5, "blue", 6000), mail="lena", since=16,
    ),
    _person("Kofi Asante", "13 Quay Street", "0147", Car("KOF-318", "verger", 4, "white", 17000), mail="kofi", since=6),
    _person("Edith Pell", "2 Station Approach", "0148", Car("PEL-091", "beck", 13, "blue", 3500, vin=False), since=1),
    _person(
        "Ruben Castell", "9 Foundry Yard", "0149", Car("CAS-652", "fell", 7, "black", 14500),
        Car("CAS-655", "ridge", 4, "white", 10000), mail="ruben", since=5,
    ),
    _person(
        "Vera Holm", "18 Larkspur Way", "0150",
        Car("HOL-403", "calla", 5, "blue", 8500), mail="vera.holm", since=12,
    ),
    _person("Simon Adeyemi", "33 Weir Road", "0151", Car("ADE-216", "quill", 8, "white", 12500), since=9, mail="simon"),
    _person(
        "Clara Bruun", "Mill House", "0152", Car("BRU-838", "moor", 4, "green", 13000),
        Car("BRU-839", "sprig", 2, "white", 6500), place="Thornby Gate", mail="clara", since=5,
    ),
    _person("Idris Vaughn", "15 Tannery Row", "0153", Car("IDV-574", "tarn", 9, "red", 10000), mail="idris", since=8),
    _person("Mathilde Roux", "20 Bramble Court", "0154", Car("ROU-129", "calla", 2, "black", 12000), since=14),
    _person("Nils Ekdahl", "The Smithy", "0155", Car("EKD-267", "plowman", 8, "gray", 12500), place="Ashmere", since=3),
    _person(
        "Beatriz Leal", "7 Old Ferry Road", "0156",
        Car("LEA-945", "ridge", 5, "silver", 11500), mail="beatriz", since=15,
    ),
)  # fmt: skip

#: Built before standard VINs, with a number of its own.
OLD_CAR: Final = {
    "plate": "1974-BR", "make": "Brannock", "model": "Tarn 1500 sedan", "year": 1974, "engine": "1.5 gasoline",
    "drivetrain": "rear-wheel drive, four-speed manual", "color": "cream", "vin": "BT15-20447",
    "vin_not_standard": True, "notes": "Lead additive, his own can. Oil without detergents.",
}  # fmt: skip
