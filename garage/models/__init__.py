"""The kernel's tables: people and shop, customers and vehicles, files and mail, and the book that holds them true."""

from garage.models.book import AuditEntry, ClockNote, Counter, IdempotencyKey, SearchEntry, SideRow
from garage.models.customers import AuthorizedPerson, Customer, EmailAddress, Phone
from garage.models.files import Document, OutgoingMail, StoredFile
from garage.models.people import Role, User
from garage.models.shop import DistanceUnit, PageSize, ShopProfile, TaxClass
from garage.models.vehicles import OdometerReading, Ownership, Vehicle

__all__ = [
    "AuditEntry",
    "AuthorizedPerson",
    "ClockNote",
    "Counter",
    "Customer",
    "DistanceUnit",
    "Document",
    "EmailAddress",
    "IdempotencyKey",
    "OdometerReading",
    "OutgoingMail",
    "Ownership",
    "PageSize",
    "Phone",
    "Role",
    "SearchEntry",
    "ShopProfile",
    "SideRow",
    "StoredFile",
    "TaxClass",
    "User",
    "Vehicle",
]
