import django.contrib.auth.models
import django.contrib.auth.validators
import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import garage.fields
import garage.ledger
import garage.models.book
import garage.models.files


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        migrations.CreateModel(
            name="Document",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("kind", models.CharField(max_length=30)),
                ("source", models.BigIntegerField()),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "name",
                    models.CharField(
                        help_text="file name for the customer, such as Invoice 2026-0412.pdf", max_length=120
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("later", "made when asked for"),
                            ("wanted", "being made"),
                            ("made", "ready"),
                            ("failed", "could not be made"),
                            ("erased", "erased after the record years"),
                        ],
                        default="wanted",
                        max_length=8,
                    ),
                ),
                ("sha256", models.CharField(blank=True, max_length=64)),
                ("problem", models.TextField(blank=True)),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                ("lease_until", models.DateTimeField(blank=True, null=True)),
                ("wanted_at", models.DateTimeField()),
                ("made_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "indexes": [models.Index(fields=["state", "id"], name="documents_to_make")],
                "constraints": [
                    models.UniqueConstraint(fields=("kind", "source", "version"), name="document_made_once")
                ],
            },
        ),
        migrations.CreateModel(
            name="IdempotencyKey",
            fields=[
                ("key", models.UUIDField(primary_key=True, serialize=False)),
                ("action", models.CharField(max_length=60)),
                ("said", models.CharField(help_text="SHA-256 of what was asked with it", max_length=64)),
                ("result", models.BigIntegerField(null=True)),
                ("created", models.DateTimeField(auto_now_add=True)),
            ],
        ),
        migrations.CreateModel(
            name="User",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                ("last_login", models.DateTimeField(blank=True, null=True, verbose_name="last login")),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "username",
                    models.CharField(
                        error_messages={"unique": "A user with that username already exists."},
                        help_text="Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.",
                        max_length=150,
                        unique=True,
                        validators=[django.contrib.auth.validators.UnicodeUsernameValidator()],
                        verbose_name="username",
                    ),
                ),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="email address")),
                (
                    "is_staff",
                    models.BooleanField(
                        default=False,
                        help_text="Designates whether the user can log into this admin site.",
                        verbose_name="staff status",
                    ),
                ),
                (
                    "is_active",
                    models.BooleanField(
                        default=True,
                        help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                        verbose_name="active",
                    ),
                ),
                ("date_joined", models.DateTimeField(default=django.utils.timezone.now, verbose_name="date joined")),
                (
                    "name",
                    models.CharField(
                        help_text="As it is printed on papers and shown beside a step.",
                        max_length=80,
                        verbose_name="name",
                    ),
                ),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("owner", "owner"),
                            ("counter", "counter"),
                            ("technician", "technician"),
                            ("reader", "reader"),
                        ],
                        default="reader",
                        max_length=12,
                        verbose_name="role",
                    ),
                ),
                (
                    "pin",
                    models.CharField(
                        blank=True, editable=False, help_text="hash of the shared tablet's PIN", max_length=200
                    ),
                ),
                (
                    "groups",
                    models.ManyToManyField(
                        blank=True,
                        help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.group",
                        verbose_name="groups",
                    ),
                ),
                (
                    "user_permissions",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Specific permissions for this user.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.permission",
                        verbose_name="user permissions",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("role__in", ["owner", "counter", "technician", "reader"])),
                        name="user_role_known",
                    )
                ],
            },
            managers=[
                ("objects", django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name="Counter",
            fields=[
                ("series", models.CharField(max_length=60, primary_key=True, serialize=False)),
                ("value", models.BigIntegerField()),
                ("last_hash", models.CharField(default="", max_length=64)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("value__gte", 0)), name="counter_not_negative")
                ],
            },
        ),
        migrations.CreateModel(
            name="Customer",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[("person", "person"), ("company", "company")],
                        default="person",
                        max_length=8,
                        verbose_name="kind",
                    ),
                ),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                ("contact", models.CharField(blank=True, max_length=120, verbose_name="contact person")),
                ("address", models.TextField(blank=True, verbose_name="address")),
                (
                    "notes",
                    models.TextField(
                        blank=True,
                        help_text="Such as: prefers a call; no work above what is authorized.",
                        verbose_name="notes",
                    ),
                ),
                ("tax_exempt", models.BooleanField(default=False, verbose_name="exempt from sales tax")),
                (
                    "exemption_certificate",
                    models.CharField(blank=True, max_length=60, verbose_name="exemption certificate number"),
                ),
                ("exemption_until", models.DateField(blank=True, null=True, verbose_name="certificate valid until")),
                ("tax_number", models.CharField(blank=True, max_length=40, verbose_name="tax or VAT number")),
                (
                    "payment_days",
                    models.PositiveSmallIntegerField(blank=True, null=True, verbose_name="pays within, days"),
                ),
                ("order_number_required", models.BooleanField(default=False, verbose_name="needs an order number")),
                (
                    "erased_at",
                    models.DateTimeField(
                        blank=True, help_text="since then the book does not know who it was", null=True
                    ),
                ),
                ("walk_in", models.BooleanField(default=False, editable=False)),
                ("created", models.DateTimeField()),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "merged_into",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="merged_here",
                        to="garage.customer",
                    ),
                ),
                (
                    "standing",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        help_text="for a closed row the one at the end of its pointers",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="gathered",
                        to="garage.customer",
                    ),
                ),
            ],
            options={
                "ordering": ["name", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("tax_exempt", False),
                            models.Q(("exemption_certificate", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="exempt_has_certificate",
                    ),
                    models.CheckConstraint(condition=models.Q(("name", ""), _negated=True), name="customer_has_name"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("merged_into", None), ("standing", None)),
                            models.Q(("merged_into__isnull", False), ("standing__isnull", False)),
                            _connector="OR",
                        ),
                        name="customer_merged_or_standing",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("walk_in", True)), fields=("walk_in",), name="one_walk_in_customer"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("walk_in", False), models.Q(("merged_into", None), ("tax_exempt", False)), _connector="OR"
                        ),
                        name="walk_in_is_nobody",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="AuthorizedPerson",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=120, verbose_name="name")),
                ("contact", models.CharField(blank=True, max_length=120, verbose_name="phone or email")),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="designated", to="garage.customer"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "authorized persons",
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="EmailAddress",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("address", models.EmailField(max_length=254, verbose_name="address")),
                ("label", models.CharField(blank=True, max_length=40, verbose_name="label")),
                ("position", models.PositiveSmallIntegerField(default=0)),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="emails", to="garage.customer"
                    ),
                ),
            ],
            options={
                "ordering": ["position", "pk"],
            },
        ),
        migrations.CreateModel(
            name="Phone",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, verbose_name="number")),
                ("digits", models.CharField(db_index=True, max_length=40)),
                ("label", models.CharField(blank=True, max_length=40, verbose_name="label")),
                ("position", models.PositiveSmallIntegerField(default=0)),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="phones", to="garage.customer"
                    ),
                ),
            ],
            options={
                "ordering": ["position", "pk"],
            },
        ),
        migrations.CreateModel(
            name="SearchEntry",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("kind", models.CharField(max_length=20)),
                ("object_id", models.BigIntegerField()),
                ("title", models.CharField(max_length=200)),
                ("subtitle", models.CharField(blank=True, max_length=300)),
                ("words", models.TextField(help_text="everything it is found by, normalized, separated by spaces")),
            ],
            options={
                "verbose_name_plural": "search entries",
                "constraints": [models.UniqueConstraint(fields=("kind", "object_id"), name="one_search_entry")],
            },
        ),
        migrations.CreateModel(
            name="SideRow",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("salt", models.CharField(default=garage.models.book.new_salt, max_length=32)),
                ("data", models.JSONField(default=dict)),
                ("written_at", models.DateTimeField()),
                ("erased_at", models.DateTimeField(blank=True, null=True)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("erased_at", None), ("salt", ""), _connector="OR"),
                        name="erased_side_row_has_no_salt",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="ClockNote",
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
                            ("back", "dated before another paper"),
                            ("leap", "the clock leapt ahead"),
                            ("silence", "nothing was written for a month"),
                        ],
                        max_length=8,
                    ),
                ),
                ("at", models.DateTimeField(help_text="by the clock that was asked about")),
                ("day", models.DateField(help_text="the shop's day then")),
                ("until", models.DateField(help_text="covers papers until the clock has passed this day")),
                (
                    "machine_start",
                    models.BigIntegerField(help_text="when the machine was started by that clock, in seconds of UTC"),
                ),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
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
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="AuditEntry",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sealed_format", garage.ledger.FormatField(editable=False)),
                ("side_seal", models.CharField(blank=True, editable=False, max_length=64)),
                ("chain_seq", models.BigIntegerField(editable=False, unique=True)),
                ("previous_hash", models.CharField(editable=False, max_length=64)),
                ("row_hash", models.CharField(editable=False, max_length=64)),
                ("clock_behind", models.BooleanField(default=False, editable=False)),
                ("at", models.DateTimeField(db_index=True)),
                ("verb", models.CharField(max_length=80)),
                (
                    "record",
                    models.CharField(help_text="model label and primary key, such as jobs.job:12", max_length=60),
                ),
                ("details", models.JSONField(default=dict)),
                (
                    "actor",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
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
                "verbose_name_plural": "audit entries",
                "indexes": [models.Index(fields=["record", "-id"], name="audit_of_record")],
            },
        ),
        migrations.CreateModel(
            name="StoredFile",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("photo", "photo"),
                            ("document", "document"),
                            ("message", "message as sent"),
                            ("logo", "logo"),
                        ],
                        max_length=10,
                    ),
                ),
                ("name", models.CharField(max_length=200)),
                ("content_type", models.CharField(max_length=60)),
                ("size", models.PositiveBigIntegerField()),
                ("sha256", models.CharField(db_index=True, max_length=64)),
                ("file", models.FileField(max_length=200, upload_to=garage.models.files.stored_path)),
                ("created", models.DateTimeField()),
                (
                    "erased_at",
                    models.DateTimeField(blank=True, help_text="since then only its hash is kept", null=True),
                ),
                (
                    "by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("size__gt", 0)), name="stored_file_not_empty")
                ],
            },
        ),
        migrations.CreateModel(
            name="ShopProfile",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(default="Our garage", max_length=120, verbose_name="garage name")),
                (
                    "address",
                    models.TextField(blank=True, help_text="As it is printed, line by line.", verbose_name="address"),
                ),
                ("phone", models.CharField(blank=True, max_length=40, verbose_name="phone")),
                (
                    "email",
                    models.EmailField(
                        blank=True, help_text="Customers' answers go here.", max_length=254, verbose_name="email"
                    ),
                ),
                (
                    "license_number",
                    models.CharField(
                        blank=True,
                        help_text="Printed on estimates and invoices.",
                        max_length=60,
                        verbose_name="license or registration number",
                    ),
                ),
                ("waste_id", models.CharField(blank=True, max_length=40, verbose_name="waste generator ID (EPA ID)")),
                ("tax_number", models.CharField(blank=True, max_length=40, verbose_name="tax or VAT number")),
                (
                    "currency",
                    models.CharField(
                        default="USD", help_text="ISO 4217 code, such as USD.", max_length=3, verbose_name="currency"
                    ),
                ),
                (
                    "distance_unit",
                    models.CharField(
                        choices=[("mi", "miles"), ("km", "kilometers")],
                        default="mi",
                        max_length=2,
                        verbose_name="distances in",
                    ),
                ),
                (
                    "time_zone",
                    models.CharField(
                        default="UTC", help_text="Such as America/New_York.", max_length=60, verbose_name="time zone"
                    ),
                ),
                (
                    "locale",
                    models.CharField(
                        choices=[
                            ("en-US", "United States: 5:00 PM, Nov 24, 2026"),
                            ("en-GB", "United Kingdom: 17:00, 24 Nov 2026"),
                        ],
                        default="en-US",
                        help_text="On screens, papers and mail. Papers already written keep theirs.",
                        max_length=5,
                        verbose_name="words, dates and times as in",
                    ),
                ),
                (
                    "page_size",
                    models.CharField(
                        choices=[("Letter", "US Letter"), ("A4", "A4")],
                        default="Letter",
                        max_length=6,
                        verbose_name="paper size",
                    ),
                ),
                ("labor_rate", garage.fields.MoneyField(default=0, verbose_name="labor rate per hour")),
                (
                    "labor_basis",
                    models.CharField(
                        default="the hours written in the procedure",
                        max_length=120,
                        verbose_name="how hours are counted",
                    ),
                ),
                (
                    "estimate_days",
                    models.PositiveSmallIntegerField(default=30, verbose_name="an estimate holds for, days"),
                ),
                (
                    "payment_days",
                    models.PositiveSmallIntegerField(default=14, verbose_name="an invoice is due after, days"),
                ),
                (
                    "deposits_taxed",
                    models.BooleanField(
                        default=False,
                        help_text="Where VAT is charged, a deposit for known work is invoiced at once: an advance invoice, whose net and tax the final invoice takes off. Sales tax is not due on a deposit.",
                        verbose_name="tax deposits when they are received",
                    ),
                ),
                (
                    "authorization_text",
                    models.TextField(
                        default="I authorize the work marked on this estimate, up to the total shown, and no more without asking me.",
                        verbose_name="sentence above the authorization",
                    ),
                ),
                (
                    "limit_with_tax",
                    models.BooleanField(
                        default=False,
                        help_text="For consumers in the UK and the EU, where prices are said with tax.",
                        verbose_name="an authorized amount binds with tax",
                    ),
                ),
                (
                    "second_look",
                    models.BooleanField(
                        default=False,
                        help_text="Whoever worked on a job does not look it over before it is finished. The owner may, with a reason.",
                        verbose_name="another person takes the final look",
                    ),
                ),
                ("estimate_text", models.TextField(blank=True, verbose_name="closing text on estimates")),
                ("invoice_text", models.TextField(blank=True, verbose_name="closing text on invoices")),
                ("warranty_text", models.TextField(blank=True, verbose_name="warranty on our work")),
                (
                    "mail_text",
                    models.TextField(
                        default="Hello {customer},\n\nattached is invoice {number} for your {vehicle}: {total}, {payable}.\n\n{garage}",
                        help_text="May hold {customer}, {number}, {vehicle}, {garage}, {phone}, {total}, {payable} and {due}.",
                        verbose_name="text of the mail with an invoice",
                    ),
                ),
                (
                    "logo",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to="garage.storedfile",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(condition=models.Q(("pk", 1)), name="one_shop_profile"),
                    models.CheckConstraint(condition=models.Q(("labor_rate__gte", 0)), name="labor_rate_not_negative"),
                ],
            },
        ),
        migrations.CreateModel(
            name="OutgoingMail",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("purpose", models.CharField(max_length=30)),
                ("source", models.BigIntegerField()),
                ("version", models.PositiveIntegerField(default=1)),
                ("to", models.EmailField(max_length=254)),
                ("to_name", models.CharField(blank=True, max_length=120)),
                ("reply_to", models.EmailField(blank=True, max_length=254)),
                ("subject", models.CharField(max_length=200)),
                ("text", models.TextField()),
                ("message_id", models.CharField(max_length=120, unique=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("queued", "waiting to be sent"),
                            ("sending", "being sent"),
                            ("handed", "handed to the mail server"),
                            ("sent", "sent"),
                            ("failed", "not sent"),
                            ("uncertain", "perhaps sent"),
                        ],
                        default="queued",
                        max_length=10,
                    ),
                ),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                ("next_try", models.DateTimeField()),
                ("lease_until", models.DateTimeField(blank=True, null=True)),
                ("problem", models.TextField(blank=True)),
                ("queued_at", models.DateTimeField()),
                ("sent_at", models.DateTimeField(blank=True, null=True)),
                (
                    "erased_at",
                    models.DateTimeField(blank=True, help_text="since then nobody is named in it", null=True),
                ),
                ("attachments", models.ManyToManyField(blank=True, related_name="mails", to="garage.document")),
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
                    "as_sent",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="garage.storedfile",
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["state", "next_try"], name="mail_to_send")],
                "constraints": [
                    models.UniqueConstraint(fields=("purpose", "source", "version"), name="mail_sent_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "sent"), _negated=True), ("sent_at__isnull", False), _connector="OR"
                        ),
                        name="sent_mail_has_time",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="document",
            name="stored",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="garage.storedfile",
            ),
        ),
        migrations.CreateModel(
            name="Vehicle",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("vin", models.CharField(blank=True, max_length=20, verbose_name="VIN")),
                (
                    "vin_not_standard",
                    models.BooleanField(default=False, verbose_name="has no standard VIN (built before 1981, special)"),
                ),
                ("heavy", models.BooleanField(default=False, verbose_name="over 10,000 lb (4,536 kg) gross")),
                ("plate", models.CharField(blank=True, max_length=16, verbose_name="plate")),
                ("plate_key", models.CharField(blank=True, db_index=True, editable=False, max_length=16)),
                ("make", models.CharField(max_length=60, verbose_name="make")),
                ("model", models.CharField(max_length=80, verbose_name="model")),
                ("year", models.PositiveSmallIntegerField(blank=True, null=True, verbose_name="model year")),
                ("engine", models.CharField(blank=True, max_length=80, verbose_name="engine")),
                ("drivetrain", models.CharField(blank=True, max_length=80, verbose_name="drivetrain and transmission")),
                ("color", models.CharField(blank=True, max_length=40, verbose_name="color")),
                ("notes", models.TextField(blank=True, verbose_name="notes")),
                ("created", models.DateTimeField()),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "merged_into",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="merged_here",
                        to="garage.vehicle",
                    ),
                ),
                (
                    "owner",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="vehicles",
                        to="garage.customer",
                    ),
                ),
                (
                    "standing",
                    models.ForeignKey(
                        blank=True,
                        editable=False,
                        help_text="for a closed row the one at the end of its pointers",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="gathered",
                        to="garage.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("vin", ""), _negated=True), fields=("vin",), name="vin_once"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("merged_into", None), ("standing", None)),
                            models.Q(("merged_into__isnull", False), ("standing__isnull", False)),
                            _connector="OR",
                        ),
                        name="vehicle_merged_or_standing",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Ownership",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("since", models.DateField()),
                ("until", models.DateField(blank=True, null=True)),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="ownerships", to="garage.customer"
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="ownerships", to="garage.vehicle"
                    ),
                ),
            ],
            options={
                "ordering": ["-since", "-pk"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("until", None)), fields=("vehicle",), name="one_owner_at_a_time"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("until", None), ("until__gte", models.F("since")), _connector="OR"),
                        name="ownership_ends_after_start",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="OdometerReading",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("on", models.DateField(verbose_name="date")),
                ("reading", models.PositiveIntegerField(verbose_name="odometer")),
                (
                    "unit",
                    models.CharField(
                        choices=[("mi", "miles"), ("km", "kilometers")], max_length=2, verbose_name="unit"
                    ),
                ),
                (
                    "condition",
                    models.CharField(
                        choices=[
                            ("actual", "actual"),
                            ("exceeds", "exceeds the odometer's mechanical limits"),
                            ("not_actual", "not the actual mileage"),
                        ],
                        default="actual",
                        max_length=10,
                        verbose_name="condition",
                    ),
                ),
                (
                    "lower_reason",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("", "—"),
                            ("replaced", "odometer or instrument cluster replaced"),
                            ("repaired", "odometer repaired"),
                            ("mistyped", "the earlier reading was mistyped"),
                        ],
                        default="",
                        max_length=10,
                        verbose_name="why it is lower",
                    ),
                ),
                ("before", models.PositiveIntegerField(blank=True, null=True, verbose_name="odometer before")),
                ("disregarded", models.BooleanField(default=False, help_text="an earlier reading that was mistyped")),
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
                    "corrected_by",
                    models.ForeignKey(
                        blank=True,
                        help_text="the right one, of a mistyped reading",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="garage.odometerreading",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="readings", to="garage.vehicle"
                    ),
                ),
            ],
            options={
                "ordering": ["-on", "-pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("lower_reason", ""), ("before__isnull", False), _connector="OR"),
                        name="lower_reading_says_what_was_before",
                    )
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="document",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state__in", ["made", "erased"]), _negated=True),
                    models.Q(("stored__isnull", False), models.Q(("sha256", ""), _negated=True)),
                    _connector="OR",
                ),
                name="made_document_is_stored",
            ),
        ),
    ]
