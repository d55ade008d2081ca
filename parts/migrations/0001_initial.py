import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import garage.fields
import garage.ledger


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("garage", "0001_initial"),
        ("garage", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="Supplier",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=120, unique=True, verbose_name="name")),
                ("account", models.CharField(blank=True, max_length=60, verbose_name="our account with them")),
                ("phone", models.CharField(blank=True, max_length=40, verbose_name="phone")),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="orders go to")),
                ("address", models.TextField(blank=True, verbose_name="address")),
                (
                    "lead_days",
                    models.PositiveSmallIntegerField(blank=True, null=True, verbose_name="usual lead time, days"),
                ),
                ("notes", models.TextField(blank=True, verbose_name="notes")),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="Item",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[("part", "part"), ("fluid", "fluid"), ("consumable", "consumable")],
                        max_length=10,
                        verbose_name="kind",
                    ),
                ),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                ("brand", models.CharField(blank=True, max_length=60, verbose_name="brand")),
                (
                    "base_unit",
                    models.CharField(
                        choices=[("each", "each"), ("L", "liter")], max_length=4, verbose_name="counted in"
                    ),
                ),
                ("location", models.CharField(blank=True, max_length=40, verbose_name="place on the shelf")),
                (
                    "tax_class",
                    models.CharField(
                        choices=[
                            ("parts", "parts and fluid"),
                            ("labor", "labor"),
                            ("fabrication", "fabrication labor"),
                            ("sublet", "sublet"),
                            ("charge", "charges"),
                            ("none", "not taxed"),
                        ],
                        default="parts",
                        max_length=12,
                        verbose_name="tax class",
                    ),
                ),
                (
                    "minimum",
                    garage.fields.QuantityField(
                        default=0, help_text="At or under this it is listed as low.", verbose_name="minimum on hand"
                    ),
                ),
                ("wanted", garage.fields.QuantityField(default=0, verbose_name="fill up to")),
                (
                    "price",
                    garage.fields.UnitPriceField(
                        blank=True,
                        help_text="Empty: from cost and markup bands.",
                        null=True,
                        verbose_name="selling price",
                    ),
                ),
                ("core_deposit", garage.fields.MoneyField(default=0, verbose_name="core deposit")),
                ("hazard", models.CharField(blank=True, max_length=200, verbose_name="hazard note")),
                (
                    "open_days",
                    models.PositiveSmallIntegerField(blank=True, null=True, verbose_name="keeps after opening, days"),
                ),
                ("notes", models.TextField(blank=True, verbose_name="notes")),
                ("active", models.BooleanField(default=True, verbose_name="in use")),
                ("on_hand", garage.fields.QuantityField(default=0, editable=False)),
                ("stock_value", garage.fields.UnitPriceField(default=0, editable=False)),
                (
                    "last_cost",
                    garage.fields.UnitPriceField(
                        blank=True, editable=False, help_text="cost per base unit at last receipt", null=True
                    ),
                ),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "current",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        help_text="for a replaced item, the end of its chain: what is bought today",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="older",
                        to="parts.item",
                    ),
                ),
            ],
            options={
                "ordering": ["name", "pk"],
                "indexes": [models.Index(fields=["active", "name", "id"], name="items_by_name")],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("on_hand__gte", 0)), name="item_on_hand_not_negative"),
                    models.CheckConstraint(condition=models.Q(("stock_value__gte", 0)), name="item_value_not_negative"),
                    models.CheckConstraint(
                        condition=models.Q(("minimum__gte", 0), ("wanted__gte", 0)), name="item_minimum_not_negative"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("price", None), ("price__gte", 0), _connector="OR"),
                        name="item_price_not_negative",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "fluid"), _negated=True), ("base_unit", "L"), _connector="OR"
                        ),
                        name="fluid_counted_in_liters",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("current", None), models.Q(("current", models.F("pk")), _negated=True), _connector="OR"
                        ),
                        name="item_not_its_own_successor",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Container",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("size", garage.fields.QuantityField(help_text="content when it came")),
                (
                    "capacity",
                    garage.fields.QuantityField(
                        blank=True,
                        help_text="the most it can hold: its pack; empty for a batch of counted things",
                        null=True,
                    ),
                ),
                ("unit_cost", garage.fields.UnitPriceField()),
                ("content", garage.fields.QuantityField(default=0)),
                ("value", garage.fields.UnitPriceField(default=0)),
                ("received_at", models.DateTimeField()),
                ("opened_at", models.DateTimeField(blank=True, null=True)),
                ("location", models.CharField(blank=True, max_length=40)),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="containers", to="parts.item"
                    ),
                ),
            ],
            options={
                "ordering": ["received_at", "pk"],
                "indexes": [
                    models.Index(
                        condition=models.Q(("content__gt", 0)),
                        fields=["item", "received_at", "id"],
                        name="containers_to_draw",
                    )
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("content__gte", 0)), name="container_content_not_negative"
                    ),
                    models.CheckConstraint(condition=models.Q(("value__gte", 0)), name="container_value_not_negative"),
                    models.CheckConstraint(
                        condition=models.Q(("size__gt", 0), ("unit_cost__gte", 0)), name="container_has_size"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("capacity", None), ("content__lte", models.F("capacity")), _connector="OR"),
                        name="container_holds_no_more_than_its_pack",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ItemSpecification",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("text", models.CharField(max_length=120, verbose_name="specification")),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="specifications", to="parts.item"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [models.UniqueConstraint(fields=("item", "text"), name="specification_once")],
            },
        ),
        migrations.CreateModel(
            name="MarkupBand",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "up_to",
                    garage.fields.UnitPriceField(blank=True, null=True, unique=True, verbose_name="up to a cost of"),
                ),
                ("markup", garage.fields.ShareField(help_text="0.40 for 40%", verbose_name="markup")),
            ],
            options={
                "ordering": [models.OrderBy(models.F("up_to"), nulls_last=True)],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("markup__gte", 0)), name="markup_not_negative")
                ],
            },
        ),
        migrations.CreateModel(
            name="Movement",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("chain_seq", models.BigIntegerField(editable=False, unique=True)),
                ("previous_hash", models.CharField(editable=False, max_length=64)),
                ("row_hash", models.CharField(editable=False, max_length=64)),
                ("clock_behind", models.BooleanField(default=False, editable=False)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("opening", "opening balance"),
                            ("receipt", "received"),
                            ("draw", "taken from the shelf"),
                            ("return", "returned to the shelf"),
                            ("adjustment", "adjusted"),
                            ("waste", "wasted"),
                            ("count", "counted"),
                            ("reversal", "undone"),
                        ],
                        max_length=10,
                    ),
                ),
                ("quantity", garage.fields.QuantityField()),
                ("value", garage.fields.UnitPriceField()),
                (
                    "typed",
                    models.CharField(blank=True, help_text="the quantity as typed, such as 3/4 qt", max_length=40),
                ),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "container",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="movements", to="parts.container"
                    ),
                ),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="movements", to="parts.item"
                    ),
                ),
                (
                    "returns",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="returned_by",
                        to="parts.movement",
                    ),
                ),
                (
                    "reverses",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reversed_by",
                        to="parts.movement",
                    ),
                ),
                (
                    "side",
                    models.ForeignKey(
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="garage.siderow",
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
                "indexes": [
                    models.Index(fields=["item", "-id"], name="movements_of_item"),
                    models.Index(fields=["container", "-id"], name="movements_of_container"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("quantity", 0), _negated=True), name="movement_moves_something"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("quantity__gt", 0), ("value__gte", 0)),
                            models.Q(("quantity__lt", 0), ("value__lte", 0)),
                            _connector="OR",
                        ),
                        name="movement_value_has_its_sign",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "reversal"), ("reverses__isnull", False)),
                            models.Q(models.Q(("kind", "reversal"), _negated=True), ("reverses__isnull", True)),
                            _connector="OR",
                        ),
                        name="reversal_names_what_it_undoes",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "return"), ("returns__isnull", False)),
                            models.Q(models.Q(("kind", "return"), _negated=True), ("returns__isnull", True)),
                            _connector="OR",
                        ),
                        name="return_names_its_draw",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Pack",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("label", models.CharField(max_length=60, verbose_name="pack")),
                ("size", garage.fields.QuantityField(help_text="in the item's base unit", verbose_name="size")),
                ("typed", models.CharField(blank=True, help_text="the size as typed, such as 1 qt", max_length=40)),
                ("barcode", models.CharField(blank=True, max_length=60, verbose_name="barcode")),
                ("active", models.BooleanField(default=True, verbose_name="still bought")),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="packs", to="parts.item"
                    ),
                ),
            ],
            options={
                "ordering": ["size", "pk"],
                "constraints": [
                    models.UniqueConstraint(fields=("item", "label"), name="pack_label_once"),
                    models.CheckConstraint(condition=models.Q(("size__gt", 0)), name="pack_has_size"),
                ],
            },
        ),
        migrations.AddField(
            model_name="container",
            name="pack",
            field=models.ForeignKey(
                blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="parts.pack"
            ),
        ),
        migrations.CreateModel(
            name="PurchaseOrder",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveIntegerField(blank=True, null=True, unique=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("draft", "draft"),
                            ("sent", "sent"),
                            ("part", "partly received"),
                            ("received", "received"),
                            ("canceled", "canceled"),
                        ],
                        default="draft",
                        max_length=8,
                    ),
                ),
                ("expected", models.DateField(blank=True, null=True, verbose_name="expected")),
                ("created", models.DateTimeField()),
                ("sent_at", models.DateTimeField(blank=True, null=True)),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "supplier",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="orders", to="parts.supplier"
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state", "draft"), ("number__isnull", False), _connector="OR"),
                        name="sent_order_has_number",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="PurchaseOrderLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("packs", models.PositiveIntegerField()),
                ("received", models.PositiveIntegerField(default=0)),
                ("price", garage.fields.UnitPriceField(verbose_name="price a pack")),
                ("reason", models.CharField(blank=True, max_length=200, verbose_name="why")),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="lines", to="parts.purchaseorder"
                    ),
                ),
                (
                    "pack",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="parts.pack"),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("order", "pack"), name="pack_once_an_order"),
                    models.CheckConstraint(
                        condition=models.Q(("packs__gt", 0), ("price__gte", 0)), name="order_line_positive"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Receipt",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "reference",
                    models.CharField(blank=True, max_length=60, verbose_name="delivery note or invoice number"),
                ),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "order",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="receipts",
                        to="parts.purchaseorder",
                    ),
                ),
                (
                    "supplier",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="receipts",
                        to="parts.supplier",
                    ),
                ),
            ],
            options={
                "ordering": ["-at", "-pk"],
            },
        ),
        migrations.CreateModel(
            name="ReceiptLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("packs", models.PositiveIntegerField()),
                ("quantity", garage.fields.QuantityField(help_text="in all, in the item's base unit")),
                ("pack_price", garage.fields.UnitPriceField()),
                (
                    "item",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="parts.item"),
                ),
                (
                    "pack",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="parts.pack",
                    ),
                ),
                (
                    "receipt",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="parts.receipt"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("packs__gt", 0), ("quantity__gt", 0), ("pack_price__gte", 0)),
                        name="receipt_line_positive",
                    )
                ],
            },
        ),
        migrations.AddField(
            model_name="container",
            name="receipt_line",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="containers",
                to="parts.receiptline",
            ),
        ),
        migrations.CreateModel(
            name="Supersession",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("since", models.DateField()),
                ("until", models.DateField(blank=True, null=True)),
                ("note", models.CharField(blank=True, max_length=200)),
                ("took_over", models.JSONField(default=dict)),
                (
                    "new",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="replaces", to="parts.item"
                    ),
                ),
                (
                    "old",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="replaced_by", to="parts.item"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("old", models.F("new")), _negated=True), name="not_replaced_by_itself"
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("until", None)), fields=("old",), name="replaced_once_at_a_time"
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ItemNumber",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("own", "own number"),
                            ("maker", "maker's number"),
                            ("supplier", "supplier's number"),
                            ("old", "old number"),
                            ("name", "old name"),
                            ("barcode", "barcode"),
                        ],
                        max_length=8,
                        verbose_name="kind",
                    ),
                ),
                ("number", models.CharField(max_length=80, verbose_name="number or name")),
                (
                    "key",
                    models.CharField(
                        db_index=True, editable=False, help_text="upper case, separators dropped", max_length=80
                    ),
                ),
                (
                    "item",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="numbers", to="parts.item"
                    ),
                ),
                (
                    "supplier",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="parts.supplier",
                    ),
                ),
            ],
            options={
                "ordering": ["kind", "pk"],
                "constraints": [
                    models.UniqueConstraint(fields=("item", "kind", "key"), name="number_once_an_item"),
                    models.CheckConstraint(condition=models.Q(("key", ""), _negated=True), name="number_has_key"),
                ],
            },
        ),
        migrations.CreateModel(
            name="SupplierPrice",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(blank=True, max_length=80, verbose_name="supplier's number")),
                ("price", garage.fields.UnitPriceField(verbose_name="price a pack")),
                ("since", models.DateField()),
                ("taken_back", models.BooleanField(default=False, help_text="its delivery was undone")),
                ("current", models.BooleanField(default=True)),
                (
                    "pack",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="prices", to="parts.pack"
                    ),
                ),
                (
                    "receipt_line",
                    models.ForeignKey(
                        blank=True,
                        help_text="it was learned from",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="parts.receiptline",
                    ),
                ),
                (
                    "supplier",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="prices", to="parts.supplier"
                    ),
                ),
            ],
            options={
                "ordering": ["-since", "-pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("current", True)),
                        fields=("pack", "supplier"),
                        name="one_price_a_pack_and_supplier",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("current", False), ("taken_back", False), _connector="OR"),
                        name="a_price_taken_back_does_not_count",
                    ),
                    models.CheckConstraint(condition=models.Q(("price__gte", 0)), name="supplier_price_not_negative"),
                ],
            },
        ),
    ]
