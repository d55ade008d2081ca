"""What is hashed of the shelf's sealed rows, column by column; see garage/formats.py for how a list grows."""

from garage.formats import CHAIN

MOVEMENT = (f"{CHAIN} item_id container_id kind quantity value typed reverses_id returns_id at by_id",)
