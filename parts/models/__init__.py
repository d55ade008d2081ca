"""The shelf's tables: what is kept, in which packs and containers, and every movement of it."""

from parts.models.catalog import Item, ItemNumber, ItemSpecification, Kind, MarkupBand, Pack, Supersession
from parts.models.stock import Container, Movement, Receipt, ReceiptLine
from parts.models.suppliers import PurchaseOrder, PurchaseOrderLine, Supplier, SupplierPrice

__all__ = [
    "Container",
    "Item",
    "ItemNumber",
    "ItemSpecification",
    "Kind",
    "MarkupBand",
    "Movement",
    "Pack",
    "PurchaseOrder",
    "PurchaseOrderLine",
    "Receipt",
    "ReceiptLine",
    "Supersession",
    "Supplier",
    "SupplierPrice",
]
