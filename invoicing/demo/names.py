"""Names the story calls things by: cars by their plates, procedures by their titles, fluids by their looks."""

from invoicing.demo.cast import COMPANIES, PEOPLE
from jobs.verdict import Seen

CARS = {car.plate: car for person in (*COMPANIES, *PEOPLE) for car in person.cars}

TRANSFER, REPEATED = "Transfer case fluid, drain and fill", "Transfer case fluid, repeated exchange"
CHAIN_CASE, AXLE = "Transfer case fluid, chain-driven case", "Rear axle fluid, limited-slip"
OIL, SMALL_OIL, DIESEL_OIL = (
    "Engine oil and filter, 2.0 to 2.5 gasoline",
    "Engine oil and filter, 1.0 to 1.8 gasoline",
    "Engine oil and filter, 2.2 and 3.0 diesel",
)
PADS_FRONT, PADS_REAR, BRAKE_FLUID = "Front brake pads, car", "Rear brake pads, car", "Brake fluid, change"
FRONT_DIFF, REAR_DIFF = "Front differential fluid", "Rear differential fluid"
AUTOMATIC, COOLANT = "Automatic transmission fluid, drain and fill", "Coolant, drain and fill"

SPENT = Seen("black", "opaque", "glitter", "burnt")
WORN = Seen("dark brown", "cloudy", "paste", "usual")
BROWN = Seen("brown", "clear", "paste", "usual")
AMBER = Seen("amber", "clear", "paste", "usual")
