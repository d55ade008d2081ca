"""What stands on the shelf of the demo garage, from whom it comes and what it costs. Brands and names are invented."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

D = Decimal
QUART, GALLON = D("0.946352946"), D("3.785411784")  # liters, exactly (NIST Handbook 44, Appendix C)


@dataclass(frozen=True)
class Box:
    """A pack: its size as typed and in the base unit, what it cost when the book began, how many stood there."""

    label: str
    typed: str
    size: Decimal
    price: Decimal
    stood: int = 0


@dataclass(frozen=True)
class Goods:
    """An item by its own number; `keep` is (minimum, fill up to) in the base unit."""

    number: str
    name: str
    brand: str
    kind: str
    place: str
    supplier: str
    boxes: tuple[Box, ...]
    keep: tuple[str, str]
    maker_number: str = ""
    meets: tuple[str, ...] = ()
    more: tuple[tuple[str, Any], ...] = ()

    @property
    def fields(self) -> dict[str, Any]:
        """What the verb takes."""
        liquid = self.boxes[0].typed.split()[-1] not in ("each", "set")
        return {
            "kind": self.kind,
            "name": self.name,
            "brand": self.brand,
            "base_unit": "L" if liquid else "each",
            "location": self.place,
            "minimum": D(self.keep[0]),
            "wanted": D(self.keep[1]),
            **dict(self.more),
        }


SUPPLIERS: Final[tuple[dict[str, Any], ...]] = (
    {"name": "Sallow Lane Fluids", "account": "F-1180", "phone": "555-0190", "email": "orders@example.com",
     "address": "40 Sallow Lane\nThornby Gate", "lead_days": 2, "notes": "Pails go back empty."},
    {"name": "Hollowbridge Auto Parts", "account": "77-204", "phone": "555-0191", "email": "desk@example.com",
     "address": "Unit 6, Hollowbridge", "lead_days": 1, "notes": "Two rounds a day, order by 10 for noon."},
    {"name": "Quarrywood Brake & Filter", "account": "FERN", "phone": "555-0192", "email": "sales@example.com",
     "address": "9 Quarrywood Road\nAshmere", "lead_days": 3},
)  # fmt: skip

FLUIDS, AUTO_PARTS, BRAKES = (row["name"] for row in SUPPLIERS)

#: Markup by unit cost: cheap things carry more of it.
BANDS: Final = ((D(5), D("1.00")), (D(20), D("0.85")), (D(60), D("0.70")), (D(150), D("0.45")), (None, D("0.30")))


def _box(typed: str, price: str, stood: int = 0, label: str = "", size: Decimal | None = None) -> Box:
    number, _, unit = typed.partition(" ")
    each = {"L": D(1), "qt": QUART, "gal": GALLON}.get(unit, D(1))
    return Box(label or typed, typed, size or D(number) * each, D(price), stood)


OLD_TRANSFER_FLUID: Final = Goods(
    "TF-30", "TF-30 transfer fluid", "Oskerly", "fluid", "B2", FLUIDS,
    (_box("1 L", "33.00", 4, "1 L bottle"),), ("2", "4"), "OSK 30-1180",
    ("TC-75",), (("hazard", "Keep from skin and drains."), ("open_days", 720)),
)  # fmt: skip

NEW_TRANSFER_FLUID: Final = Goods(
    "TF-31", "TF-31 transfer fluid", "Oskerly", "fluid", "B2", FLUIDS,
    (_box("1 L", "36.00", 0, "1 L bottle"), _box("1 qt", "34.90", 0, "1 qt bottle")), ("2", "4"), "OSK 31-1180",
    ("TC-75", "TC-76"), (("hazard", "Keep from skin and drains."), ("open_days", 720)),
)  # fmt: skip

GOODS: Final = (
    OLD_TRANSFER_FLUID,
    Goods(
        "AT-6", "AT-6 transmission fluid", "Oskerly", "fluid", "B1", FLUIDS,
        (_box("1 L", "14.80", 3, "1 L bottle"), _box("20 L", "214.00", 1, "20 L pail")), ("6", "20"), "OSK 06-0020",
        ("ATX-6",), (("hazard", "Hot fluid burns."),),
    ),
    Goods(
        "GL-75", "GL-75 gear oil 75W-90", "Oskerly", "fluid", "B3", FLUIDS,
        (_box("1 L", "13.20", 4, "1 L bottle"), _box("20 L", "198.00", 1, "20 L pail")), ("4", "12"), "OSK 75-0001",
        ("API GL-5", "SAE 75W-90"),
    ),
    Goods(
        "GS-90", "GS-90 gear oil, limited slip", "Oskerly", "fluid", "B3", FLUIDS,
        (_box("1 qt", "15.60", 8, "1 qt bottle"),), ("3", "8"), "OSK 90-LS", ("API GL-5", "friction modifier added"),
    ),
    Goods(
        "EO-530", "EO-530 engine oil 5W-30", "Oskerly", "fluid", "A1", FLUIDS,
        (_box("5 L", "27.50", 4, "5 L can"), _box("60 L", "268.00", 1, "60 L drum")), ("20", "60"), "OSK 53-0060",
        ("SAE 5W-30",),
    ),
    Goods(
        "DO-540", "DO-540 engine oil 5W-40", "Oskerly", "fluid", "A1", FLUIDS,
        (_box("5 L", "31.00", 2, "5 L can"), _box("20 L", "112.00", 2, "20 L pail")), ("14", "40"), "OSK 54-0020",
        ("SAE 5W-40", "low ash"),
    ),
    Goods(
        "CO-4", "CO-4 coolant, premixed", "Oskerly", "fluid", "A3", FLUIDS,
        (_box("1 gal", "15.90", 4, "1 gal jug"),), ("8", "20"), "OSK CO4", (),
        (("hazard", "Sweet and poisonous: keep from children and animals."),),
    ),
    Goods(
        "BF-4", "BF-4 brake fluid", "Oskerly", "fluid", "C4", BRAKES,
        (_box("500 mL", "6.20", 2, "500 mL bottle", D("0.5")), _box("1 L", "11.40", 4, "1 L bottle")),
        ("2", "6"), "OSK BF4", ("DOT 4",),
        (("hazard", "Takes paint off; poisonous. Draws water once open."), ("open_days", 180)),
    ),
    Goods(
        "WF-1", "Washer fluid, winter", "Oskerly", "fluid", "A3", AUTO_PARTS,
        (_box("1 gal", "3.40", 4, "1 gal jug"),), ("8", "24"),
    ),
    Goods("PK-12", "Plug kit, drain and fill, with washers", "Dravenholt", "part", "C1", AUTO_PARTS,
          (_box("1 set", "9.60", 3),), ("2", "5"), "DR 7712"),
    Goods("WA-18", "Sealing washer 18 mm", "Dravenholt", "part", "C1", AUTO_PARTS,
          (_box("10 each", "6.50", 3, "bag of 10"),), ("10", "40"), "DR 18"),
    Goods("WA-14", "Sealing washer 14 mm", "Dravenholt", "part", "C1", AUTO_PARTS,
          (_box("10 each", "4.20", 4, "bag of 10"),), ("15", "50"), "DR 14"),
    Goods("AK-6", "Transmission pan gasket kit", "Dravenholt", "part", "C2", AUTO_PARTS,
          (_box("1 set", "24.50", 2),), ("1", "3"), "DR 6606"),
    Goods("OF-10", "Oil filter, 1.0 to 1.8", "Dravenholt", "part", "D1", BRAKES,
          (_box("1 each", "5.80", 8), _box("10 each", "49.00", 0, "box of 10")), ("4", "12"), "DR F10"),
    Goods("OF-12", "Oil filter, 2.0 to 2.5", "Dravenholt", "part", "D1", BRAKES,
          (_box("1 each", "6.90", 8), _box("10 each", "58.00", 0, "box of 10")), ("4", "12"), "DR F12"),
    Goods("OF-30", "Oil filter cartridge, diesel", "Dravenholt", "part", "D1", BRAKES,
          (_box("1 each", "11.20", 5),), ("3", "8"), "DR F30"),
    Goods("AF-21", "Air filter", "Dravenholt", "part", "D2", BRAKES,
          (_box("1 each", "14.90", 3),), ("2", "4"), "DR A21"),
    Goods("CF-7", "Cabin filter, charcoal", "Dravenholt", "part", "D2", BRAKES,
          (_box("1 each", "12.60", 4),), ("2", "6"), "DR C07"),
    Goods("BP-41", "Brake pad set, front", "Pellmark", "part", "E1", BRAKES,
          (_box("1 set", "44.00", 2),), ("1", "3"), "PM 4100"),
    Goods("BP-42", "Brake pad set, rear", "Pellmark", "part", "E1", BRAKES,
          (_box("1 set", "39.00", 2),), ("1", "3"), "PM 4200"),
    Goods("BP-52", "Brake pad set, front, pickup and van", "Pellmark", "part", "E1", BRAKES,
          (_box("1 set", "58.00", 2),), ("1", "2"), "PM 5200"),
    Goods("BH-41", "Brake hardware kit, front", "Pellmark", "part", "E2", BRAKES,
          (_box("1 set", "8.40", 3),), ("2", "4"), "PM 4190"),
    Goods("WB-24", "Wiper blade 24 in", "Dravenholt", "part", "F1", AUTO_PARTS,
          (_box("1 each", "8.90", 6),), ("4", "10"), "DR W24"),
    Goods("LB-55", "Low-beam bulb 55 W", "Dravenholt", "part", "F1", AUTO_PARTS,
          (_box("1 each", "4.60", 6),), ("4", "10"), "DR L55"),
    Goods("BT-70", "Battery 70 Ah", "Dravenholt", "part", "F3", AUTO_PARTS,
          (_box("1 each", "84.00", 1),), ("1", "2"), "DR B70", (),
          (("core_deposit", D("18.00")), ("hazard", "Acid; gas. Ventilate, no sparks."))),
    Goods("SB-10", "Serpentine belt", "Dravenholt", "part", "F2", AUTO_PARTS,
          (_box("1 each", "21.00", 1),), ("1", "2"), "DR S10"),
    Goods("BC-5", "Brake cleaner, spray can", "Pellmark", "consumable", "C3", BRAKES,
          (_box("1 each", "3.10", 12), _box("12 each", "31.00", 0, "tray of 12")), ("6", "24"), "PM 0005", (),
          (("hazard", "Flammable; never into the used oil."),)),
)  # fmt: skip
