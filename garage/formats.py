"""What is hashed of the kernel's sealed rows, column by column, in each format that rows were ever sealed in.

A list that rows were sealed with is never changed. A table that gains a column gains a list below its last one, and
docs/sealed-rows.md with it: `SUMPBOOK_WRITE_FORMATS=1 pytest tests/invoicing/test_sealed_rows.py` writes it there.
A column that is renamed keeps its name in the older lists: `name=column`.
"""

CHAIN = "sealed_format side_id side_seal chain_seq previous_hash clock_behind"

AUDIT_ENTRY = (f"{CHAIN} at actor_id verb record details",)
CLOCK_NOTE = (f"{CHAIN} kind at day until machine_start by_id",)
