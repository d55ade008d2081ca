import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import garage.fields


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("garage", "0001_initial"),
        ("garage", "__first__"),
        ("parts", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="Component",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60, unique=True, verbose_name="component")),
                ("position", models.PositiveSmallIntegerField(default=0)),
            ],
            options={
                "ordering": ["position", "name"],
            },
        ),
        migrations.CreateModel(
            name="Job",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[("visit", "visit"), ("sale", "counter sale")],
                        default="visit",
                        editable=False,
                        max_length=5,
                    ),
                ),
                ("number", models.PositiveIntegerField(unique=True)),
                (
                    "stage",
                    models.CharField(
                        choices=[
                            ("written_up", "written up"),
                            ("awaiting", "awaiting authorization"),
                            ("ready", "ready"),
                            ("in_bay", "in the bay"),
                            ("finished", "finished"),
                            ("invoiced", "invoiced"),
                            ("closed", "closed"),
                            ("canceled", "canceled"),
                        ],
                        default="written_up",
                        max_length=12,
                    ),
                ),
                ("stage_since", models.DateTimeField()),
                (
                    "waits_for",
                    models.CharField(
                        blank=True,
                        help_text="who or what the job waits for, such as the customer's name",
                        max_length=200,
                    ),
                ),
                ("concern", models.TextField(help_text="In the customer's own words.", verbose_name="concern")),
                ("key_tag", models.CharField(blank=True, max_length=20, verbose_name="key tag")),
                ("parked", models.CharField(blank=True, max_length=60, verbose_name="parked at")),
                (
                    "drop_off_notes",
                    models.TextField(blank=True, verbose_name="already scratched or broken at drop-off"),
                ),
                (
                    "parts_wish",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("", "not asked yet"),
                            ("return", "wants them back"),
                            ("show", "wants to see them"),
                            ("discard", "no"),
                        ],
                        default="",
                        max_length=8,
                        verbose_name="replaced parts",
                    ),
                ),
                ("promised_at", models.DateTimeField(blank=True, null=True, verbose_name="promised for")),
                ("order_number", models.CharField(blank=True, max_length=60, verbose_name="customer's order number")),
                ("received_at", models.DateTimeField()),
                ("finished_at", models.DateTimeField(blank=True, null=True)),
                (
                    "version",
                    models.PositiveIntegerField(
                        default=1, help_text="counts edits, so that two counters cannot overwrite"
                    ),
                ),
                (
                    "comeback_of",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="comebacks",
                        to="jobs.job",
                    ),
                ),
                (
                    "created_by",
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
                        on_delete=django.db.models.deletion.PROTECT, related_name="jobs", to="garage.customer"
                    ),
                ),
                (
                    "odometer_in",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="garage.odometerreading",
                    ),
                ),
                (
                    "odometer_out",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="garage.odometerreading",
                    ),
                ),
                (
                    "technician",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="jobs",
                        to="garage.vehicle",
                    ),
                ),
            ],
            options={
                "ordering": ["-pk"],
                "indexes": [
                    models.Index(fields=["stage", "-id"], name="jobs_by_stage"),
                    models.Index(fields=["customer", "-id"], name="jobs_of_customer"),
                    models.Index(fields=["vehicle", "-id"], name="jobs_of_vehicle"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "stage__in",
                                [
                                    "written_up",
                                    "awaiting",
                                    "ready",
                                    "in_bay",
                                    "finished",
                                    "invoiced",
                                    "closed",
                                    "canceled",
                                ],
                            )
                        ),
                        name="job_stage_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("kind", "visit"), models.Q(("kind", "sale"), ("vehicle", None)), _connector="OR"
                        ),
                        name="sale_has_no_car",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="JobStep",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("title", models.CharField(max_length=240)),
                ("position", models.PositiveSmallIntegerField()),
                (
                    "state",
                    models.CharField(
                        choices=[("open", "open"), ("done", "done"), ("skipped", "skipped")],
                        default="open",
                        max_length=8,
                    ),
                ),
                (
                    "version",
                    models.PositiveIntegerField(
                        default=0, help_text="counts acts, notes aside; an act names the one it saw"
                    ),
                ),
                ("at", models.DateTimeField(blank=True, null=True)),
                ("reason", models.CharField(blank=True, help_text="why it was skipped or unticked", max_length=200)),
                (
                    "again",
                    models.BooleanField(
                        default=False, help_text="done, and to be confirmed again: what it stands on was reopened"
                    ),
                ),
                (
                    "confirmed_why",
                    models.CharField(blank=True, help_text="why a second person confirmed it", max_length=200),
                ),
                (
                    "confirmed_by",
                    models.ForeignKey(
                        blank=True,
                        help_text="the second person",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("note", models.TextField(blank=True)),
                ("shortage", models.TextField(blank=True, help_text="what the shelf lacked when it was taken")),
                (
                    "by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "follows",
                    models.ForeignKey(
                        blank=True,
                        help_text="the step that asked for it",
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="follow_ups",
                        to="jobs.jobstep",
                    ),
                ),
            ],
            options={
                "ordering": ["operation", "position"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "skipped"), _negated=True),
                            models.Q(("reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="skipped_step_has_reason",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("state", "open"), ("at__isnull", False), _connector="OR"),
                        name="done_step_has_time",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("state", "done"), ("again", False), _connector="OR"),
                        name="step_again_was_done",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("confirmed_by", None),
                            models.Q(("confirmed_why", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="second_person_has_a_reason",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="JobPhoto",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("caption", models.CharField(blank=True, max_length=160, verbose_name="what it shows")),
                ("at_drop_off", models.BooleanField(default=False)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="photos", to="jobs.job"
                    ),
                ),
                (
                    "stored",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="garage.storedfile"
                    ),
                ),
                (
                    "step",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="photos",
                        to="jobs.jobstep",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="Line",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveSmallIntegerField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("labor", "labor"),
                            ("part", "part"),
                            ("fluid", "fluid"),
                            ("sublet", "sublet"),
                            ("charge", "charge"),
                        ],
                        max_length=8,
                    ),
                ),
                (
                    "finer",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("", "—"),
                            ("core", "core deposit"),
                            ("core_refund", "core returned"),
                            ("kit", "kit"),
                            ("teardown", "teardown"),
                            ("fee", "fee"),
                            ("goodwill", "goodwill"),
                            ("write_off", "not charged"),
                        ],
                        default="",
                        max_length=12,
                        verbose_name="line type",
                    ),
                ),
                ("description", models.CharField(max_length=200, verbose_name="what")),
                (
                    "condition",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("", "—"),
                            ("new", "new"),
                            ("used", "used"),
                            ("rebuilt", "rebuilt"),
                            ("reconditioned", "reconditioned"),
                        ],
                        default="",
                        max_length=14,
                        verbose_name="condition",
                    ),
                ),
                ("quantity", garage.fields.QuantityField(verbose_name="quantity")),
                (
                    "unit",
                    models.CharField(
                        choices=[
                            ("h", "h"),
                            ("each", "each"),
                            ("L", "L"),
                            ("qt", "qt"),
                            ("gal", "gal"),
                            ("floz", "floz"),
                            ("impqt", "impqt"),
                            ("impgal", "impgal"),
                        ],
                        max_length=6,
                    ),
                ),
                ("base_quantity", garage.fields.QuantityField(help_text="the same in hours, pieces or liters, exact")),
                (
                    "typed",
                    models.CharField(blank=True, help_text="the quantity as typed, such as 3/4 qt", max_length=40),
                ),
                ("unit_price", garage.fields.UnitPriceField(verbose_name="unit price")),
                ("discount", garage.fields.ShareField(default=0, verbose_name="discount")),
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
                        verbose_name="tax class",
                    ),
                ),
                ("sublet_to", models.CharField(blank=True, max_length=120, verbose_name="done by")),
                ("if_needed", models.BooleanField(default=False, verbose_name="only if needed")),
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
                    "under",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="hanging",
                        to="jobs.line",
                    ),
                ),
            ],
            options={
                "ordering": ["position", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("base_quantity__gt", 0), ("quantity__gt", 0)),
                            models.Q(("finer", "core_refund"), ("quantity__lt", 0)),
                            _connector="OR",
                        ),
                        name="line_has_quantity",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("unit_price__gte", 0),
                                models.Q(("finer__in", ["goodwill", "write_off"]), _negated=True),
                            ),
                            models.Q(("finer__in", ["goodwill", "write_off"]), ("unit_price__lt", 0)),
                            _connector="OR",
                        ),
                        name="only_goodwill_and_write_offs_are_priced_below_zero",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("finer__in", ["goodwill", "write_off", "core", "core_refund"]), _negated=True),
                            models.Q(("item", None), ("kind", "charge")),
                            _connector="OR",
                        ),
                        name="signed_lines_and_cores_are_charges",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("finer", "core_refund"), _negated=True), ("under__isnull", False), _connector="OR"
                        ),
                        name="core_refund_names_its_core",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("if_needed", False), models.Q(("quantity__gt", 0), ("unit_price__gt", 0)), _connector="OR"
                        ),
                        name="line_if_needed_has_its_most",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("discount__gte", 0), ("discount__lte", 1)), name="line_discount_is_a_share"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "sublet"), _negated=True),
                            models.Q(("sublet_to", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="sublet_names_who",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("kind", "fluid"), _negated=True),
                            ("unit__in", ("L", "qt", "gal", "floz", "impqt", "impgal")),
                            _connector="OR",
                        ),
                        name="fluid_line_in_a_volume",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Draw",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "movement",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="parts.movement"
                    ),
                ),
                (
                    "step",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="draws",
                        to="jobs.jobstep",
                    ),
                ),
                (
                    "line",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="draws", to="jobs.line"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Operation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveSmallIntegerField()),
                ("title", models.CharField(max_length=200, verbose_name="operation")),
                ("concern", models.TextField(blank=True, verbose_name="concern")),
                ("cause", models.TextField(blank=True, verbose_name="found")),
                ("correction", models.TextField(blank=True, verbose_name="done")),
                (
                    "offered_again_after",
                    models.BigIntegerField(
                        default=0,
                        help_text="sequence of the job's last record when declined work was offered again; 0: it was not",
                    ),
                ),
                ("started_at", models.DateTimeField(blank=True, null=True)),
                ("finished_at", models.DateTimeField(blank=True, null=True)),
                (
                    "alternative_to",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="alternatives",
                        to="jobs.operation",
                    ),
                ),
                (
                    "component",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="jobs.component",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="operations", to="jobs.job"
                    ),
                ),
                (
                    "technician",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["position", "pk"],
                "constraints": [models.UniqueConstraint(fields=("job", "position"), name="operation_position_once")],
            },
        ),
        migrations.AddField(
            model_name="line",
            name="operation",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE, related_name="lines", to="jobs.operation"
            ),
        ),
        migrations.AddField(
            model_name="jobstep",
            name="operation",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE, related_name="steps", to="jobs.operation"
            ),
        ),
        migrations.CreateModel(
            name="FluidSample",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("on", models.DateField()),
                ("odometer", models.PositiveIntegerField(blank=True, null=True)),
                ("distance_on_fluid", models.PositiveIntegerField(blank=True, null=True)),
                ("unit", models.CharField(choices=[("mi", "miles"), ("km", "kilometers")], default="mi", max_length=2)),
                ("volume_out", garage.fields.QuantityField(blank=True, null=True, verbose_name="came out, L")),
                (
                    "fluid_kind",
                    models.CharField(
                        choices=[
                            ("oil", "oil"),
                            ("automatic", "automatic transmission fluid"),
                            ("coolant", "coolant"),
                            ("brake fluid", "brake fluid"),
                        ],
                        default="oil",
                        max_length=12,
                        verbose_name="kind of fluid",
                    ),
                ),
                (
                    "specification",
                    models.CharField(blank=True, max_length=120, verbose_name="specification it should have"),
                ),
                ("color", models.CharField(max_length=60, verbose_name="color")),
                (
                    "clarity",
                    models.CharField(
                        choices=[
                            ("clear", "clear"),
                            ("cloudy", "cloudy"),
                            ("opaque", "opaque"),
                            ("milky", "milky"),
                            ("layers", "in layers"),
                        ],
                        max_length=8,
                        verbose_name="clarity",
                    ),
                ),
                (
                    "particles",
                    models.CharField(
                        choices=[
                            ("none", "none"),
                            ("paste", "fine gray paste"),
                            ("glitter", "glitter"),
                            ("flakes", "flakes"),
                            ("chunks", "chunks"),
                            ("rust", "rust"),
                            ("scale", "scale"),
                            ("jelly", "jelly"),
                            ("film", "oil film"),
                            ("specks", "dark specks"),
                        ],
                        max_length=8,
                        verbose_name="particles",
                    ),
                ),
                (
                    "smell",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("usual", "as usual"),
                            ("burnt", "burnt"),
                            ("exhaust", "of exhaust or fuel"),
                            ("other", "other"),
                        ],
                        help_text="not asked of every fluid",
                        max_length=8,
                        verbose_name="smell",
                    ),
                ),
                ("freeze_point", garage.fields.QuantityField(blank=True, null=True, verbose_name="freeze point, °C")),
                ("freeze_point_typed", models.CharField(blank=True, max_length=40)),
                ("water", garage.fields.QuantityField(blank=True, null=True, verbose_name="water, %")),
                ("boiling_point", garage.fields.QuantityField(blank=True, null=True, verbose_name="boiling point, °C")),
                ("boiling_point_typed", models.CharField(blank=True, max_length=40)),
                (
                    "verdict",
                    models.CharField(
                        choices=[
                            ("fresh", "fresh"),
                            ("serviceable", "serviceable"),
                            ("worn", "worn"),
                            ("spent", "spent"),
                            ("contaminated", "contaminated"),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "stops",
                    models.BooleanField(
                        default=False, help_text="the work waits until somebody has said what is to be done"
                    ),
                ),
                ("told", models.CharField(blank=True, max_length=80, verbose_name="who was told")),
                ("told_words", models.CharField(blank=True, max_length=200, verbose_name="what they said")),
                ("told_at", models.DateTimeField(blank=True, null=True)),
                (
                    "told_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                ("notes", models.TextField(blank=True, verbose_name="notes")),
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
                    "component",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="samples", to="jobs.component"
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="samples", to="garage.vehicle"
                    ),
                ),
                (
                    "step",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sample",
                        to="jobs.jobstep",
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="samples",
                        to="jobs.operation",
                    ),
                ),
            ],
            options={
                "ordering": ["-on", "-pk"],
                "indexes": [models.Index(fields=["vehicle", "component", "-on"], name="samples_of_component")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("told", ""), ("told_at", None), ("told_words", "")),
                            models.Q(
                                models.Q(("told", ""), _negated=True), models.Q(("told_words", ""), _negated=True)
                            ),
                            _connector="OR",
                        ),
                        name="sample_answer_is_whole",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Advisory",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("text", models.CharField(max_length=200, verbose_name="what was noticed")),
                (
                    "limit",
                    models.CharField(
                        choices=[
                            ("driving", "before driving"),
                            ("distance", "by a distance"),
                            ("date", "by a date"),
                            ("next", "at the next visit"),
                        ],
                        default="next",
                        max_length=8,
                        verbose_name="to be done",
                    ),
                ),
                ("by_odometer", models.PositiveIntegerField(blank=True, null=True)),
                ("unit", models.CharField(choices=[("mi", "miles"), ("km", "kilometers")], default="mi", max_length=2)),
                ("by_date", models.DateField(blank=True, null=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("open", "open"),
                            ("offered", "on an estimate"),
                            ("settled", "settled"),
                            ("declined", "declined"),
                        ],
                        default="open",
                        max_length=8,
                    ),
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
                    "stored",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="garage.storedfile",
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="advisories", to="garage.vehicle"
                    ),
                ),
                (
                    "component",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="jobs.component",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="advisories", to="jobs.job"
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="advisories",
                        to="jobs.operation",
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "advisories",
                "ordering": ["pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("limit", "distance"), _negated=True),
                            ("by_odometer__isnull", False),
                            _connector="OR",
                        ),
                        name="advisory_by_distance_has_one",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("limit", "date"), _negated=True), ("by_date__isnull", False), _connector="OR"
                        ),
                        name="advisory_by_date_has_one",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Procedure",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("title", models.CharField(max_length=120, verbose_name="title")),
                (
                    "component",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="procedures", to="jobs.component"
                    ),
                ),
            ],
            options={
                "ordering": ["title"],
                "constraints": [models.UniqueConstraint(fields=("title",), name="procedure_title_once")],
            },
        ),
        migrations.CreateModel(
            name="DueService",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("last_on", models.DateField()),
                ("last_odometer", models.PositiveIntegerField(blank=True, null=True)),
                ("every_distance", models.PositiveIntegerField(blank=True, null=True)),
                ("every_months", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("unit", models.CharField(choices=[("mi", "miles"), ("km", "kilometers")], max_length=2)),
                ("on", models.DateField(blank=True, db_index=True, null=True)),
                ("odometer", models.PositiveIntegerField(blank=True, null=True)),
                ("because", models.CharField(max_length=8)),
                (
                    "component",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.component"
                    ),
                ),
                (
                    "vehicle",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="due", to="garage.vehicle"
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.operation"
                    ),
                ),
                (
                    "procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.procedure"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "services due",
                "ordering": ["on", "pk"],
                "constraints": [models.UniqueConstraint(fields=("vehicle", "component", "procedure"), name="due_once")],
            },
        ),
        migrations.CreateModel(
            name="AppliesTo",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("make", models.CharField(blank=True, max_length=60)),
                ("model", models.CharField(blank=True, max_length=80)),
                ("year_from", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("year_to", models.PositiveSmallIntegerField(blank=True, null=True)),
                ("engine", models.CharField(blank=True, max_length=80)),
                ("drivetrain", models.CharField(blank=True, max_length=80)),
                (
                    "procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="applies_to", to="jobs.procedure"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "applies to",
            },
        ),
        migrations.CreateModel(
            name="ProcedureNeed",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveSmallIntegerField(default=0)),
                ("name", models.CharField(blank=True, help_text="how the steps call it", max_length=40)),
                ("description", models.CharField(blank=True, max_length=120, verbose_name="or described")),
                ("quantity", garage.fields.QuantityField(help_text="in the item's base unit", verbose_name="quantity")),
                (
                    "typed",
                    models.CharField(
                        blank=True, help_text="the amount as written, such as 0.85 L or 3/4 qt", max_length=40
                    ),
                ),
                ("one_time", models.BooleanField(default=False, verbose_name="used once, always new")),
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
            ],
            options={
                "ordering": ["position", "pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("quantity__gt", 0),
                            models.Q(("quantity", 0), ("typed", "to be filled in")),
                            _connector="OR",
                        ),
                        name="need_has_quantity",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("item__isnull", False), models.Q(("description", ""), _negated=True), _connector="OR"
                        ),
                        name="need_says_what",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="line",
            name="need",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="+",
                to="jobs.procedureneed",
            ),
        ),
        migrations.CreateModel(
            name="ProcedureRevision",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.PositiveSmallIntegerField()),
                (
                    "state",
                    models.CharField(
                        choices=[("draft", "draft"), ("published", "published"), ("retired", "retired")],
                        default="draft",
                        max_length=10,
                    ),
                ),
                ("summary", models.TextField(blank=True, verbose_name="what it is for")),
                ("hours", garage.fields.QuantityField(verbose_name="labor hours")),
                ("capacity", garage.fields.QuantityField(blank=True, null=True, verbose_name="fluid capacity, L")),
                (
                    "capacity_typed",
                    models.CharField(blank=True, help_text="the capacity as written, such as 1 qt", max_length=40),
                ),
                ("drain", garage.fields.QuantityField(blank=True, null=True, verbose_name="drains at a change, L")),
                ("drain_typed", models.CharField(blank=True, max_length=40)),
                (
                    "fluid_kind",
                    models.CharField(
                        choices=[
                            ("oil", "oil"),
                            ("automatic", "automatic transmission fluid"),
                            ("coolant", "coolant"),
                            ("brake fluid", "brake fluid"),
                        ],
                        default="oil",
                        max_length=12,
                        verbose_name="kind of fluid",
                    ),
                ),
                ("specification", models.CharField(blank=True, max_length=120, verbose_name="fluid specification")),
                ("tools", models.TextField(blank=True, help_text="One a line.", verbose_name="tools")),
                (
                    "cautions",
                    models.TextField(
                        blank=True, help_text="One a line, shown before the first step.", verbose_name="cautions"
                    ),
                ),
                ("source", models.CharField(blank=True, max_length=200, verbose_name="where the data comes from")),
                (
                    "every_distance",
                    models.PositiveIntegerField(blank=True, null=True, verbose_name="repeat after a distance of"),
                ),
                (
                    "distance_unit",
                    models.CharField(choices=[("mi", "miles"), ("km", "kilometers")], default="mi", max_length=2),
                ),
                (
                    "every_months",
                    models.PositiveSmallIntegerField(blank=True, null=True, verbose_name="or after months"),
                ),
                ("written_by", models.CharField(blank=True, max_length=80, verbose_name="written by")),
                ("published_at", models.DateTimeField(blank=True, null=True)),
                (
                    "procedure",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="revisions", to="jobs.procedure"
                    ),
                ),
            ],
            options={
                "ordering": ["-number"],
                "constraints": [
                    models.UniqueConstraint(fields=("procedure", "number"), name="revision_number_once"),
                    models.CheckConstraint(condition=models.Q(("hours__gte", 0)), name="procedure_hours_not_negative"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("drain", None), ("capacity", None), ("drain__lte", models.F("capacity")), _connector="OR"
                        ),
                        name="drains_within_capacity",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="procedureneed",
            name="revision",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE, related_name="needs", to="jobs.procedurerevision"
            ),
        ),
        migrations.AddField(
            model_name="procedure",
            name="current",
            field=models.ForeignKey(
                blank=True,
                help_text="published one",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="jobs.procedurerevision",
            ),
        ),
        migrations.AddField(
            model_name="operation",
            name="revision",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="jobs.procedurerevision",
            ),
        ),
        migrations.CreateModel(
            name="ProcedureStep",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveSmallIntegerField()),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("do", "do"),
                            ("check", "check"),
                            ("measure", "measure"),
                            ("drain", "drain"),
                            ("fill", "fill"),
                            ("tighten", "tighten"),
                            ("inspect", "inspect"),
                            ("photo", "photo"),
                            ("sample", "look at the drained fluid"),
                        ],
                        default="do",
                        max_length=8,
                    ),
                ),
                (
                    "name",
                    models.CharField(blank=True, help_text="how the steps that need it call it", max_length=40),
                ),
                ("title", models.CharField(max_length=120)),
                ("text", models.TextField(blank=True)),
                ("tool", models.CharField(blank=True, max_length=120)),
                ("caution", models.TextField(blank=True)),
                (
                    "hold_point",
                    models.BooleanField(default=False, help_text="later steps stay closed until it is confirmed"),
                ),
                (
                    "reading",
                    models.CharField(
                        blank=True, help_text="empty: no reading", max_length=40, verbose_name="what is read"
                    ),
                ),
                ("unit", models.CharField(blank=True, help_text="unit code of units.py", max_length=8)),
                ("target", garage.fields.QuantityField(blank=True, null=True)),
                ("low", garage.fields.QuantityField(blank=True, null=True)),
                ("high", garage.fields.QuantityField(blank=True, null=True)),
                (
                    "outside",
                    models.CharField(
                        choices=[("refuse", "is refused"), ("reason", "needs a reason")],
                        default="reason",
                        max_length=8,
                        verbose_name="a reading outside",
                    ),
                ),
                (
                    "threads",
                    models.CharField(
                        blank=True, help_text="clean and dry, oiled …: what the torque is for", max_length=60
                    ),
                ),
                (
                    "how",
                    models.CharField(
                        blank=True, help_text="how it is tightened without a torque, or after it", max_length=120
                    ),
                ),
                (
                    "to_fill_in",
                    models.CharField(
                        blank=True,
                        help_text="figures of the reading that are still to be filled in: target, from, to",
                        max_length=40,
                    ),
                ),
                (
                    "substance",
                    models.BooleanField(default=False, help_text="without it the service does not count as done"),
                ),
                (
                    "need",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="steps",
                        to="jobs.procedureneed",
                    ),
                ),
                (
                    "revision",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="steps", to="jobs.procedurerevision"
                    ),
                ),
                (
                    "required",
                    models.ManyToManyField(
                        blank=True,
                        help_text="steps to be done before it",
                        related_name="needed_by",
                        to="jobs.procedurestep",
                    ),
                ),
            ],
            options={
                "ordering": ["position"],
                "constraints": [
                    models.UniqueConstraint(fields=("revision", "position"), name="step_position_once"),
                    models.UniqueConstraint(
                        condition=models.Q(("name", ""), _negated=True),
                        fields=("revision", "name"),
                        name="step_name_once",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("low", None), ("high", None), ("low__lte", models.F("high")), _connector="OR"
                        ),
                        name="step_limits_in_order",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("reading", ""), models.Q(("unit", ""), _negated=True), _connector="OR"),
                        name="step_reading_has_unit",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="jobstep",
            name="written",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="jobs.procedurestep",
            ),
        ),
        migrations.CreateModel(
            name="Reading",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=40)),
                ("value", garage.fields.QuantityField()),
                ("unit", models.CharField(max_length=8)),
                ("typed", models.CharField(max_length=40)),
                ("low", garage.fields.QuantityField(blank=True, null=True)),
                ("high", garage.fields.QuantityField(blank=True, null=True)),
                (
                    "verdict",
                    models.CharField(
                        choices=[("low", "below the limit"), ("ok", "within limits"), ("high", "above the limit")],
                        max_length=4,
                    ),
                ),
                (
                    "reason",
                    models.CharField(blank=True, help_text="why it was accepted outside its limits", max_length=200),
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
                    "step",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="readings", to="jobs.jobstep"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("verdict", "ok"), models.Q(("reason", ""), _negated=True), _connector="OR"),
                        name="reading_outside_has_reason",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="SkippedAnswer",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "choice",
                    models.CharField(
                        choices=[("done", "bill it as done"), ("less", "bill less"), ("none", "do not bill it")],
                        max_length=4,
                    ),
                ),
                ("words", models.TextField(verbose_name="what was done instead, or why")),
                ("steps", models.CharField(help_text="a digest of the steps that were seen", max_length=64)),
                (
                    "net",
                    garage.fields.MoneyField(
                        help_text="what its lines came to when this was said: “bill less” is less than that"
                    ),
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
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="skipped_answers", to="jobs.operation"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("words", ""), _negated=True), name="skipped_answer_has_words"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="StageChange",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "stage",
                    models.CharField(
                        choices=[
                            ("written_up", "written up"),
                            ("awaiting", "awaiting authorization"),
                            ("ready", "ready"),
                            ("in_bay", "in the bay"),
                            ("finished", "finished"),
                            ("invoiced", "invoiced"),
                            ("closed", "closed"),
                            ("canceled", "canceled"),
                        ],
                        max_length=12,
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=200)),
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
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="stage_changes", to="jobs.job"
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="StepEvent",
            fields=[
                ("id", models.UUIDField(primary_key=True, serialize=False)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("tick", "ticked"),
                            ("untick", "unticked"),
                            ("skip", "skipped"),
                            ("note", "noted"),
                            ("confirm", "confirmed by a second person"),
                            ("cannot", "ended as not done"),
                            ("close", "closed again, to be confirmed anew"),
                        ],
                        max_length=8,
                    ),
                ),
                ("data", models.JSONField(default=dict)),
                ("base_version", models.PositiveIntegerField()),
                ("device", models.CharField(blank=True, max_length=40)),
                ("seq", models.PositiveBigIntegerField(blank=True, null=True)),
                (
                    "device_time",
                    models.DateTimeField(blank=True, help_text="evidence only; order is by receipt", null=True),
                ),
                ("at", models.DateTimeField()),
                ("result", models.JSONField(default=dict)),
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
                    "step",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="events", to="jobs.jobstep"
                    ),
                ),
            ],
            options={
                "ordering": ["at"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("seq__isnull", False)),
                        fields=("device", "seq"),
                        name="device_sequence_once",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="CarTaken",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("who", models.CharField(max_length=80, verbose_name="who said it")),
                (
                    "how",
                    models.CharField(
                        choices=[
                            ("in_person", "in person"),
                            ("phone", "by phone"),
                            ("text", "by text message"),
                            ("email", "by email"),
                        ],
                        max_length=10,
                        verbose_name="how it was said",
                    ),
                ),
                ("said_at", models.DateTimeField(verbose_name="when it was said")),
                ("words", models.TextField(verbose_name="in their words")),
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
                    "job",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="taken", to="jobs.job"),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("words", ""), _negated=True), models.Q(("who", ""), _negated=True)
                        ),
                        name="car_taken_has_words",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="FinalLook",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("work", models.CharField(help_text="a digest of the work that was looked at", max_length=64)),
                ("reason", models.CharField(blank=True, max_length=200, verbose_name="why nobody else looked")),
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
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="final_looks", to="jobs.job"
                    ),
                ),
            ],
            options={"ordering": ["pk"]},
        ),
        migrations.CreateModel(
            name="NotDone",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("why", models.CharField(max_length=200, verbose_name="why it cannot be done")),
                ("at", models.DateTimeField()),
                ("undone_at", models.DateTimeField(null=True)),
                ("undone_why", models.CharField(blank=True, max_length=200, verbose_name="why it is reopened")),
                (
                    "advisory",
                    models.ForeignKey(
                        help_text="what is to be done before driving",
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="jobs.advisory",
                    ),
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
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="endings", to="jobs.operation"
                    ),
                ),
                (
                    "step",
                    models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name="+", to="jobs.jobstep"),
                ),
                (
                    "taken",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="endings",
                        to="jobs.cartaken",
                    ),
                ),
                (
                    "undone_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("why", ""), _negated=True), name="not_done_has_a_reason"
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("undone_at__isnull", True)),
                        fields=("operation",),
                        name="operation_ends_not_done_once",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="operation",
            name="not_done",
            field=models.ForeignKey(
                blank=True,
                help_text="that it ended as not done",
                null=True,
                on_delete=django.db.models.deletion.SET_NULL,
                related_name="+",
                to="jobs.notdone",
            ),
        ),
        migrations.AddConstraint(
            model_name="jobstep",
            constraint=models.UniqueConstraint(fields=("operation", "position"), name="job_step_position_once"),
        ),
    ]
