import django.db.models.deletion
import django.db.models.expressions
import django.db.models.functions.text
from django.conf import settings
from django.db import migrations, models

import garage.fields
import garage.ledger


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("garage", "0001_initial"),
        ("garage", "__first__"),
        ("jobs", "0001_initial"),
        ("parts", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Allocation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("chain_seq", models.BigIntegerField(editable=False, unique=True)),
                ("previous_hash", models.CharField(editable=False, max_length=64)),
                ("row_hash", models.CharField(editable=False, max_length=64)),
                ("clock_behind", models.BooleanField(default=False, editable=False)),
                ("amount", garage.fields.MoneyField(verbose_name="amount")),
                ("content_sha256", models.CharField(max_length=64)),
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
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="allocations", to="garage.customer"
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
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount__gt", 0)), name="allocation_moves_something")
                ],
            },
        ),
        migrations.CreateModel(
            name="Estimate",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("person_seal", models.CharField(max_length=64)),
                ("vehicle_text", models.CharField(blank=True, max_length=300)),
                ("labor_net", garage.fields.MoneyField()),
                ("parts_net", garage.fields.MoneyField()),
                ("other_net", garage.fields.MoneyField()),
                ("net", garage.fields.MoneyField()),
                ("tax", garage.fields.MoneyField()),
                ("gross", garage.fields.MoneyField()),
                ("currency", models.CharField(max_length=3)),
                ("content_sha256", models.CharField(max_length=64)),
                ("revision", models.PositiveSmallIntegerField()),
                ("job_version", models.PositiveIntegerField(help_text="the job's version it was written from")),
                ("shop", models.JSONField(help_text="the garage's own name, address, numbers and texts as printed")),
                ("odometer_text", models.CharField(blank=True, max_length=40)),
                (
                    "parts_wish",
                    models.CharField(blank=True, help_text="about replaced parts, as printed", max_length=120),
                ),
                (
                    "consent_seq",
                    models.BigIntegerField(default=0, help_text="the job's last authorization then; 0: there was none"),
                ),
                ("written_at", models.DateTimeField()),
                ("valid_until", models.DateField()),
                ("promised_at", models.DateTimeField(blank=True, null=True)),
                (
                    "changes",
                    models.TextField(blank=True, help_text="what changed since the revision before, a line each"),
                ),
                (
                    "limit_with_tax",
                    models.BooleanField(default=False, help_text="an authorization of it binds with tax"),
                ),
                (
                    "taxes",
                    models.JSONField(default=list, help_text="its tax rows as printed, with the tax's key and classes"),
                ),
                (
                    "rates",
                    models.JSONField(
                        default=list, help_text="every rate of the day it was written: what the customer heard"
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="estimates", to="jobs.job"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="garage.siderow"
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
                (
                    "written_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
                "constraints": [
                    models.UniqueConstraint(fields=("job", "revision"), name="estimate_revision_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "gross",
                                django.db.models.expressions.CombinedExpression(models.F("net"), "+", models.F("tax")),
                            )
                        ),
                        name="estimate_adds_up",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Authorization",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("chain_seq", models.BigIntegerField(editable=False, unique=True)),
                ("previous_hash", models.CharField(editable=False, max_length=64)),
                ("row_hash", models.CharField(editable=False, max_length=64)),
                ("clock_behind", models.BooleanField(default=False, editable=False)),
                (
                    "estimate_seal",
                    models.CharField(help_text="the estimate's content_sha256 as the form had it", max_length=64),
                ),
                ("person_seal", models.CharField(max_length=64)),
                (
                    "capacity",
                    models.CharField(
                        choices=[("customer", "the customer"), ("designated", "a person the customer designated")],
                        max_length=10,
                    ),
                ),
                (
                    "channel",
                    models.CharField(
                        choices=[
                            ("in_person", "in person"),
                            ("phone", "by telephone"),
                            ("text", "by text message"),
                            ("email", "by email"),
                            ("link", "by private link"),
                        ],
                        max_length=10,
                    ),
                ),
                ("at", models.DateTimeField(help_text="when it was given")),
                ("zone", models.CharField(help_text="the shop's time zone then", max_length=60)),
                ("recorded_at", models.DateTimeField()),
                ("limit", garage.fields.MoneyField(help_text="before tax, for the whole job")),
                (
                    "limit_gross",
                    garage.fields.MoneyField(
                        help_text="the same with the taxes of that day, as it was said to the customer"
                    ),
                ),
                (
                    "added",
                    garage.fields.MoneyField(
                        default=0, help_text="what this adds to the authorization before it, before tax"
                    ),
                ),
                (
                    "slack",
                    garage.fields.MoneyField(
                        default=0, help_text="what may be billed above what was authorized, in all"
                    ),
                ),
                ("text", models.TextField(help_text="the sentence that was agreed to")),
                ("content_sha256", models.CharField(max_length=64)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="authorizations", to="jobs.job"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="garage.siderow"
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
                (
                    "taken_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "estimate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="authorizations",
                        to="invoicing.estimate",
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("slack__gte", 0)), name="authorized_slack_not_negative"),
                ],
            },
        ),
        migrations.CreateModel(
            name="EstimateOperation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("position", models.PositiveSmallIntegerField()),
                ("title", models.CharField(max_length=200)),
                (
                    "counted",
                    models.BooleanField(default=True, help_text="in the sums; an alternative offered beside it is not"),
                ),
                ("net", garage.fields.MoneyField()),
                (
                    "gross",
                    garage.fields.MoneyField(
                        help_text="its net with its share of the paper's taxes; those in the sums add up to the total"
                    ),
                ),
                (
                    "estimate",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="operations", to="invoicing.estimate"
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="jobs.operation",
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
                "ordering": ["position"],
            },
        ),
        migrations.CreateModel(
            name="EstimateLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("position", models.PositiveSmallIntegerField()),
                ("kind", models.CharField(max_length=8)),
                ("finer", models.CharField(blank=True, max_length=12)),
                ("description", models.CharField(max_length=200)),
                ("condition", models.CharField(blank=True, max_length=14)),
                ("under", models.PositiveSmallIntegerField(default=0)),
                ("quantity", garage.fields.QuantityField()),
                ("unit", models.CharField(max_length=6)),
                ("base_quantity", garage.fields.QuantityField()),
                ("typed", models.CharField(blank=True, max_length=40)),
                ("unit_price", garage.fields.UnitPriceField()),
                ("discount", garage.fields.ShareField(default=0)),
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
                        max_length=12,
                    ),
                ),
                ("net", garage.fields.MoneyField()),
                (
                    "fitted",
                    models.CharField(
                        blank=True, help_text="what it stands in for, as printed: replaces PS-7", max_length=300
                    ),
                ),
                ("if_needed", models.BooleanField(default=False, help_text="its figures are the most it may come to")),
                (
                    "item",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="parts.item",
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="jobs.line",
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
                (
                    "estimate_operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="lines",
                        to="invoicing.estimateoperation",
                    ),
                ),
            ],
            options={
                "ordering": ["position", "pk"],
            },
        ),
        migrations.CreateModel(
            name="AuthorizationOperation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                (
                    "decision",
                    models.CharField(
                        choices=[
                            ("authorized", "authorized"),
                            ("declined", "declined"),
                            ("withdrawn", "no longer wanted"),
                        ],
                        max_length=10,
                    ),
                ),
                ("net", garage.fields.MoneyField()),
                (
                    "tax",
                    garage.fields.MoneyField(
                        default=0, help_text="its share of the taxes on all that was read out; 0 where it is a no"
                    ),
                ),
                (
                    "authorization",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="operations",
                        to="invoicing.authorization",
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
                (
                    "estimate_operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="invoicing.estimateoperation"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("authorization", "estimate_operation"), name="operation_decided_once"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Invoice",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("chain_seq", models.BigIntegerField(editable=False, unique=True)),
                ("previous_hash", models.CharField(editable=False, max_length=64)),
                ("row_hash", models.CharField(editable=False, max_length=64)),
                ("clock_behind", models.BooleanField(default=False, editable=False)),
                ("person_seal", models.CharField(max_length=64)),
                ("vehicle_text", models.CharField(blank=True, max_length=300)),
                ("labor_net", garage.fields.MoneyField()),
                ("parts_net", garage.fields.MoneyField()),
                ("other_net", garage.fields.MoneyField()),
                ("net", garage.fields.MoneyField()),
                ("tax", garage.fields.MoneyField()),
                ("gross", garage.fields.MoneyField()),
                ("currency", models.CharField(max_length=3)),
                ("content_sha256", models.CharField(max_length=64)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("invoice", "invoice"),
                            ("credit_note", "credit memo"),
                            ("advance", "advance invoice"),
                        ],
                        default="invoice",
                        max_length=12,
                    ),
                ),
                ("series", models.CharField(help_text="such as invoice:2026", max_length=20)),
                ("number", models.PositiveIntegerField()),
                ("label", models.CharField(help_text="as printed, such as 2026-0412", max_length=20, unique=True)),
                ("shop", models.JSONField(help_text="the garage's own name, address and numbers as printed")),
                ("odometer_in", models.CharField(blank=True, max_length=40)),
                ("odometer_out", models.CharField(blank=True, max_length=40)),
                ("issued_at", models.DateTimeField()),
                ("issued_on", models.DateField(db_index=True)),
                ("due_on", models.DateField()),
                (
                    "consent_seq",
                    models.BigIntegerField(
                        default=0,
                        help_text="chain sequence of the job's last authorization at issue; 0: there was none",
                    ),
                ),
                (
                    "consent",
                    models.CharField(
                        choices=[("authorization", "by authorization"), ("sale", "by the sale itself")],
                        default="authorization",
                        help_text="how its customer agreed to it",
                        max_length=13,
                    ),
                ),
                (
                    "corrects",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="credit_notes",
                        to="invoicing.invoice",
                    ),
                ),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="invoices", to="garage.customer"
                    ),
                ),
                (
                    "issued_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="invoices",
                        to="jobs.job",
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="garage.siderow"
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
                "constraints": [
                    models.UniqueConstraint(fields=("series", "number"), name="invoice_number_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "gross",
                                django.db.models.expressions.CombinedExpression(models.F("net"), "+", models.F("tax")),
                            )
                        ),
                        name="invoice_adds_up",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "net",
                                django.db.models.expressions.CombinedExpression(
                                    django.db.models.expressions.CombinedExpression(
                                        models.F("labor_net"), "+", models.F("parts_net")
                                    ),
                                    "+",
                                    models.F("other_net"),
                                ),
                            )
                        ),
                        name="invoice_subtotals_add_up",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "credit_note"), _negated=True),
                            ("corrects__isnull", False),
                            _connector="OR",
                        ),
                        name="credit_note_names_its_invoice",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="InvoiceOperation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("position", models.PositiveSmallIntegerField()),
                ("title", models.CharField(max_length=200)),
                ("net", garage.fields.MoneyField()),
                (
                    "advance",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="taken_off",
                        to="invoicing.invoice",
                    ),
                ),
                (
                    "invoice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="operations", to="invoicing.invoice"
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="jobs.operation",
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
                "ordering": ["position"],
            },
        ),
        migrations.CreateModel(
            name="InvoiceLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("position", models.PositiveSmallIntegerField()),
                ("kind", models.CharField(max_length=8)),
                ("finer", models.CharField(blank=True, max_length=12)),
                ("description", models.CharField(max_length=200)),
                ("condition", models.CharField(blank=True, max_length=14)),
                ("under", models.PositiveSmallIntegerField(default=0)),
                ("quantity", garage.fields.QuantityField()),
                ("unit", models.CharField(max_length=6)),
                ("base_quantity", garage.fields.QuantityField()),
                ("typed", models.CharField(blank=True, max_length=40)),
                ("unit_price", garage.fields.UnitPriceField()),
                ("discount", garage.fields.ShareField(default=0)),
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
                        max_length=12,
                    ),
                ),
                ("net", garage.fields.MoneyField()),
                (
                    "fitted",
                    models.CharField(
                        blank=True, help_text="what it stands in for, as printed: replaces PS-7", max_length=300
                    ),
                ),
                ("if_needed", models.BooleanField(default=False, help_text="its figures are the most it may come to")),
                ("cost", garage.fields.UnitPriceField(default=0)),
                (
                    "credits",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="credited_by",
                        to="invoicing.invoiceline",
                    ),
                ),
                (
                    "item",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="parts.item",
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        db_constraint=False,
                        null=True,
                        on_delete=django.db.models.deletion.DO_NOTHING,
                        related_name="+",
                        to="jobs.line",
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
                (
                    "invoice_operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="lines",
                        to="invoicing.invoiceoperation",
                    ),
                ),
            ],
            options={
                "ordering": ["position", "pk"],
            },
        ),
        migrations.CreateModel(
            name="Payment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("chain_seq", models.BigIntegerField(editable=False, unique=True)),
                ("previous_hash", models.CharField(editable=False, max_length=64)),
                ("row_hash", models.CharField(editable=False, max_length=64)),
                ("clock_behind", models.BooleanField(default=False, editable=False)),
                ("person_seal", models.CharField(max_length=64)),
                (
                    "method",
                    models.CharField(
                        choices=[("cash", "cash"), ("card", "card"), ("transfer", "transfer"), ("check", "check")],
                        max_length=8,
                        verbose_name="paid by",
                    ),
                ),
                ("amount", garage.fields.MoneyField(verbose_name="amount")),
                ("currency", models.CharField(max_length=3)),
                ("paid_on", models.DateField(db_index=True)),
                ("at", models.DateTimeField()),
                (
                    "papers_seq",
                    models.BigIntegerField(
                        default=0,
                        help_text="chain sequence of the last invoice or credit memo when it was recorded; 0: there was none",
                    ),
                ),
                ("content_sha256", models.CharField(max_length=64)),
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
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="payments", to="garage.customer"
                    ),
                ),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="garage.siderow"
                    ),
                ),
                (
                    "reverses",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="reversed_by",
                        to="invoicing.payment",
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
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("amount", 0), _negated=True), name="payment_not_zero"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("amount__gt", 0), models.Q(("side_seal", ""), _negated=True), _connector="OR"
                        ),
                        name="money_given_back_has_a_reason",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="PaymentPart",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("amount", garage.fields.MoneyField()),
                (
                    "allocation",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="parts",
                        to="invoicing.allocation",
                    ),
                ),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="payment_parts", to="garage.customer"
                    ),
                ),
                (
                    "invoice",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="payments",
                        to="invoicing.invoice",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="deposits",
                        to="jobs.job",
                    ),
                ),
                (
                    "of",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="moved",
                        to="invoicing.payment",
                    ),
                ),
                (
                    "payment",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="parts",
                        to="invoicing.payment",
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
                "indexes": [
                    models.Index(
                        condition=models.Q(("invoice__isnull", True), ("job__isnull", True)),
                        fields=["customer"],
                        name="payment_parts_on_account",
                    )
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("amount", 0), _negated=True), name="payment_part_not_zero"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("allocation__isnull", False), ("of__isnull", False), ("payment__isnull", True)),
                            models.Q(("allocation__isnull", True), ("payment__isnull", False)),
                            _connector="OR",
                        ),
                        name="payment_part_of_one_act",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("invoice__isnull", True), ("job__isnull", True), _connector="OR"),
                        name="payment_part_at_one_place",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Receivable",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("due_on", models.DateField()),
                ("currency", models.CharField(max_length=3)),
                ("balance", garage.fields.MoneyField()),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="receivables", to="garage.customer"
                    ),
                ),
                (
                    "invoice",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="receivable", to="invoicing.invoice"
                    ),
                ),
            ],
            options={
                "ordering": ["due_on", "pk"],
                "indexes": [
                    models.Index(
                        condition=models.Q(("balance", 0), _negated=True),
                        fields=["due_on", "id"],
                        name="receivables_owed",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Tax",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60, verbose_name="name on the invoice")),
            ],
            options={
                "verbose_name_plural": "taxes",
                "ordering": ["name", "pk"],
                "constraints": [
                    models.UniqueConstraint(django.db.models.functions.text.Lower("name"), name="tax_name_once")
                ],
            },
        ),
        migrations.CreateModel(
            name="InvoiceTax",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("tax_classes", models.CharField(help_text="separated by spaces", max_length=80)),
                ("label", models.CharField(max_length=60)),
                (
                    "treatment",
                    models.CharField(
                        choices=[
                            ("taxed", "taxed"),
                            ("zero", "zero-rated"),
                            ("exempt", "exempt"),
                            ("outside", "not subject to it"),
                        ],
                        default="taxed",
                        max_length=8,
                    ),
                ),
                ("reason", models.CharField(blank=True, help_text="why it is zero-rated or exempt", max_length=120)),
                ("rate", garage.fields.ShareField()),
                ("base", garage.fields.MoneyField()),
                ("tax", garage.fields.MoneyField()),
                (
                    "advance",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="invoicing.invoice",
                    ),
                ),
                (
                    "invoice",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="taxes", to="invoicing.invoice"
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
                (
                    "of_tax",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="invoicing.tax"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "invoice taxes",
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="TaxRate",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
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
                        max_length=12,
                        verbose_name="applies to",
                    ),
                ),
                ("rate", garage.fields.ShareField(help_text="0.0725 for 7.25%", verbose_name="rate")),
                (
                    "treatment",
                    models.CharField(
                        choices=[
                            ("taxed", "taxed"),
                            ("zero", "zero-rated"),
                            ("exempt", "exempt"),
                            ("outside", "not subject to it"),
                        ],
                        default="taxed",
                        max_length=8,
                        verbose_name="treatment",
                    ),
                ),
                (
                    "reason",
                    models.CharField(
                        blank=True,
                        help_text="printed where zero-rated or exempt",
                        max_length=120,
                        verbose_name="reason",
                    ),
                ),
                ("valid_from", models.DateField(verbose_name="from")),
                ("valid_to", models.DateField(blank=True, null=True, verbose_name="until")),
                (
                    "tax",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="rates", to="invoicing.tax"
                    ),
                ),
            ],
            options={
                "ordering": ["tax_class", "tax__name", "valid_from"],
                "constraints": [
                    models.UniqueConstraint(fields=("tax", "tax_class", "valid_from"), name="tax_rate_once_a_day"),
                    models.CheckConstraint(
                        condition=models.Q(("rate__gte", 0), ("rate__lt", 1)), name="tax_rate_is_a_share"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("treatment", "taxed"), ("rate__gt", 0)),
                            models.Q(models.Q(("treatment", "taxed"), _negated=True), ("rate", 0)),
                            _connector="OR",
                        ),
                        name="only_a_taxed_class_has_a_rate",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("valid_to", None), ("valid_to__gte", models.F("valid_from")), _connector="OR"
                        ),
                        name="tax_rate_ends_after_start",
                    ),
                ],
            },
        ),
    ]
