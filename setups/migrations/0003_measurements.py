"""Members' measurements, and the figures that stood before they settled a dimension."""

from decimal import Decimal

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import setups.models.measurement


class Migration(migrations.Migration):
    dependencies = [
        ("setups", "0002_search"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Measurement",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "quantity",
                    models.CharField(
                        choices=[
                            ("wheelbase", "Wheelbase"),
                            ("front_arch_width", "Front width, arch to arch"),
                            ("rear_arch_width", "Rear width, arch to arch"),
                            ("front_arch_radius", "Front arch opening radius"),
                            ("rear_arch_radius", "Rear arch opening radius"),
                            ("front_arch_height", "Front arch height"),
                            ("rear_arch_height", "Rear arch height"),
                            ("nose_reach", "Front hub to nose"),
                            ("mass", "Mass"),
                            ("hub_width", "Hub width"),
                            ("kingpin_spacing", "Kingpin spacing"),
                            ("arm_length", "Arm length"),
                            ("bump_travel", "Bump travel"),
                            ("steer_limit", "Steering stop"),
                            ("chain_length", "Wheelbase share"),
                            ("offset", "Wheel offset"),
                            ("rim_width", "Rim width"),
                            ("rim_diameter", "Rim diameter"),
                            ("tyre_diameter", "Tyre diameter"),
                            ("tyre_width", "Tyre width"),
                            ("thickness", "Thickness"),
                            ("reach", "Reach"),
                            ("teeth", "Teeth"),
                            ("module", "Module"),
                            ("speed_constant", "Speed constant"),
                            ("can_diameter", "Can diameter"),
                            ("spring_rate", "Spring rate"),
                        ],
                        max_length=20,
                    ),
                ),
                ("value", models.DecimalField(decimal_places=3, max_digits=8)),
                (
                    "instrument",
                    models.CharField(
                        choices=[
                            ("calliper", "calliper"),
                            ("gauge_block", "gauge block"),
                            ("ruler", "ruler"),
                            ("scale", "scale"),
                            ("other", "another instrument"),
                        ],
                        max_length=11,
                    ),
                ),
                ("uncertainty", models.DecimalField(blank=True, decimal_places=3, max_digits=6, null=True)),
                ("measured_on", models.DateField(default=setups.models.measurement.today)),
                ("note", models.CharField(blank=True, max_length=200)),
                ("withdrawn", models.BooleanField(default=False)),
                ("added", models.DateTimeField(auto_now_add=True)),
                (
                    "body",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="%(class)s_set",
                        to="setups.body",
                    ),
                ),
                (
                    "member",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="measurements",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "part",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="%(class)s_set",
                        to="setups.part",
                    ),
                ),
            ],
            options={
                "ordering": ["id"],
                "indexes": [
                    models.Index(fields=["body", "quantity"], name="measurement_body_quantity"),
                    models.Index(fields=["part", "quantity"], name="measurement_part_quantity"),
                ],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("body__isnull", False),
                                ("part__isnull", True),
                                models.Q(
                                    models.Q(
                                        ("quantity", "wheelbase"),
                                        ("value__gte", Decimal("40")),
                                        ("value__lte", Decimal("420")),
                                    ),
                                    models.Q(
                                        ("quantity", "front_arch_width"),
                                        ("value__gte", Decimal("25")),
                                        ("value__lte", Decimal("320")),
                                    ),
                                    models.Q(
                                        ("quantity", "rear_arch_width"),
                                        ("value__gte", Decimal("25")),
                                        ("value__lte", Decimal("320")),
                                    ),
                                    models.Q(
                                        ("quantity", "front_arch_radius"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("90")),
                                    ),
                                    models.Q(
                                        ("quantity", "rear_arch_radius"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("90")),
                                    ),
                                    models.Q(
                                        ("quantity", "front_arch_height"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("120")),
                                    ),
                                    models.Q(
                                        ("quantity", "rear_arch_height"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("120")),
                                    ),
                                    models.Q(
                                        ("quantity", "nose_reach"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("150")),
                                    ),
                                    models.Q(
                                        ("quantity", "mass"),
                                        ("value__gte", Decimal("1")),
                                        ("value__lte", Decimal("1000")),
                                    ),
                                    _connector="OR",
                                ),
                            ),
                            models.Q(
                                ("body__isnull", True),
                                ("part__isnull", False),
                                models.Q(
                                    models.Q(
                                        ("quantity", "hub_width"),
                                        ("value__gte", Decimal("10")),
                                        ("value__lte", Decimal("250")),
                                    ),
                                    models.Q(
                                        ("quantity", "kingpin_spacing"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("240")),
                                    ),
                                    models.Q(
                                        ("quantity", "arm_length"),
                                        ("value__gte", Decimal("2")),
                                        ("value__lte", Decimal("120")),
                                    ),
                                    models.Q(
                                        ("quantity", "bump_travel"),
                                        ("value__gte", Decimal("0")),
                                        ("value__lte", Decimal("30")),
                                    ),
                                    models.Q(
                                        ("quantity", "steer_limit"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("60")),
                                    ),
                                    models.Q(
                                        ("quantity", "chain_length"),
                                        ("value__gte", Decimal("-80")),
                                        ("value__lte", Decimal("420")),
                                    ),
                                    models.Q(
                                        ("quantity", "offset"),
                                        ("value__gte", Decimal("-20")),
                                        ("value__lte", Decimal("30")),
                                    ),
                                    models.Q(
                                        ("quantity", "rim_width"),
                                        ("value__gte", Decimal("3")),
                                        ("value__lte", Decimal("90")),
                                    ),
                                    models.Q(
                                        ("quantity", "rim_diameter"),
                                        ("value__gte", Decimal("8")),
                                        ("value__lte", Decimal("120")),
                                    ),
                                    models.Q(
                                        ("quantity", "tyre_diameter"),
                                        ("value__gte", Decimal("10")),
                                        ("value__lte", Decimal("160")),
                                    ),
                                    models.Q(
                                        ("quantity", "tyre_width"),
                                        ("value__gte", Decimal("3")),
                                        ("value__lte", Decimal("90")),
                                    ),
                                    models.Q(
                                        ("quantity", "thickness"),
                                        ("value__gte", Decimal("0.05")),
                                        ("value__lte", Decimal("10")),
                                    ),
                                    models.Q(
                                        ("quantity", "reach"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("150")),
                                    ),
                                    models.Q(
                                        ("quantity", "teeth"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("150")),
                                    ),
                                    models.Q(
                                        ("quantity", "module"),
                                        ("value__gte", Decimal("0.1")),
                                        ("value__lte", Decimal("2")),
                                    ),
                                    models.Q(
                                        ("quantity", "speed_constant"),
                                        ("value__gte", Decimal("100")),
                                        ("value__lte", Decimal("30000")),
                                    ),
                                    models.Q(
                                        ("quantity", "can_diameter"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("60")),
                                    ),
                                    models.Q(
                                        ("quantity", "spring_rate"),
                                        ("value__gte", Decimal("0.001")),
                                        ("value__lte", Decimal("20")),
                                    ),
                                    _connector="OR",
                                ),
                            ),
                            _connector="OR",
                        ),
                        name="measurement_plausible",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("instrument__in", ["calliper", "gauge_block", "ruler", "scale", "other"])
                        ),
                        name="measurement_instrument_known",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("uncertainty__gt", 0), ("uncertainty__isnull", False)),
                            models.Q(
                                ("uncertainty__isnull", True),
                                models.Q(("instrument", "other"), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="measurement_doubt",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="StatedFigure",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("value", models.DecimalField(decimal_places=3, max_digits=8)),
                ("tolerance", models.DecimalField(blank=True, decimal_places=3, max_digits=6, null=True)),
                ("uncertainty", models.DecimalField(blank=True, decimal_places=3, max_digits=6, null=True)),
                (
                    "basis",
                    models.CharField(
                        choices=[
                            ("maker", "maker's figure"),
                            ("measured", "measured by a member"),
                            ("agreed", "agreed from several measurements"),
                            ("scaled", "scaled from the full-size car"),
                        ],
                        default="maker",
                        max_length=8,
                    ),
                ),
                ("source", models.CharField(blank=True, max_length=200)),
                (
                    "quantity",
                    models.CharField(
                        choices=[
                            ("wheelbase", "Wheelbase"),
                            ("front_arch_width", "Front width, arch to arch"),
                            ("rear_arch_width", "Rear width, arch to arch"),
                            ("front_arch_radius", "Front arch opening radius"),
                            ("rear_arch_radius", "Rear arch opening radius"),
                            ("front_arch_height", "Front arch height"),
                            ("rear_arch_height", "Rear arch height"),
                            ("nose_reach", "Front hub to nose"),
                            ("mass", "Mass"),
                            ("hub_width", "Hub width"),
                            ("kingpin_spacing", "Kingpin spacing"),
                            ("arm_length", "Arm length"),
                            ("bump_travel", "Bump travel"),
                            ("steer_limit", "Steering stop"),
                            ("chain_length", "Wheelbase share"),
                            ("offset", "Wheel offset"),
                            ("rim_width", "Rim width"),
                            ("rim_diameter", "Rim diameter"),
                            ("tyre_diameter", "Tyre diameter"),
                            ("tyre_width", "Tyre width"),
                            ("thickness", "Thickness"),
                            ("reach", "Reach"),
                            ("teeth", "Teeth"),
                            ("module", "Module"),
                            ("speed_constant", "Speed constant"),
                            ("can_diameter", "Can diameter"),
                            ("spring_rate", "Spring rate"),
                        ],
                        max_length=20,
                    ),
                ),
                (
                    "body",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="%(class)s_set",
                        to="setups.body",
                    ),
                ),
                (
                    "part",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="%(class)s_set",
                        to="setups.part",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("body__isnull", False)),
                        fields=("body", "quantity"),
                        name="stated_figure_once_a_body",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("part__isnull", False)),
                        fields=("part", "quantity"),
                        name="stated_figure_once_a_part",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("body__isnull", False),
                                ("part__isnull", True),
                                models.Q(
                                    models.Q(
                                        ("quantity", "wheelbase"),
                                        ("value__gte", Decimal("40")),
                                        ("value__lte", Decimal("420")),
                                    ),
                                    models.Q(
                                        ("quantity", "front_arch_width"),
                                        ("value__gte", Decimal("25")),
                                        ("value__lte", Decimal("320")),
                                    ),
                                    models.Q(
                                        ("quantity", "rear_arch_width"),
                                        ("value__gte", Decimal("25")),
                                        ("value__lte", Decimal("320")),
                                    ),
                                    models.Q(
                                        ("quantity", "front_arch_radius"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("90")),
                                    ),
                                    models.Q(
                                        ("quantity", "rear_arch_radius"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("90")),
                                    ),
                                    models.Q(
                                        ("quantity", "front_arch_height"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("120")),
                                    ),
                                    models.Q(
                                        ("quantity", "rear_arch_height"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("120")),
                                    ),
                                    models.Q(
                                        ("quantity", "nose_reach"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("150")),
                                    ),
                                    models.Q(
                                        ("quantity", "mass"),
                                        ("value__gte", Decimal("1")),
                                        ("value__lte", Decimal("1000")),
                                    ),
                                    _connector="OR",
                                ),
                            ),
                            models.Q(
                                ("body__isnull", True),
                                ("part__isnull", False),
                                models.Q(
                                    models.Q(
                                        ("quantity", "hub_width"),
                                        ("value__gte", Decimal("10")),
                                        ("value__lte", Decimal("250")),
                                    ),
                                    models.Q(
                                        ("quantity", "kingpin_spacing"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("240")),
                                    ),
                                    models.Q(
                                        ("quantity", "arm_length"),
                                        ("value__gte", Decimal("2")),
                                        ("value__lte", Decimal("120")),
                                    ),
                                    models.Q(
                                        ("quantity", "bump_travel"),
                                        ("value__gte", Decimal("0")),
                                        ("value__lte", Decimal("30")),
                                    ),
                                    models.Q(
                                        ("quantity", "steer_limit"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("60")),
                                    ),
                                    models.Q(
                                        ("quantity", "chain_length"),
                                        ("value__gte", Decimal("-80")),
                                        ("value__lte", Decimal("420")),
                                    ),
                                    models.Q(
                                        ("quantity", "offset"),
                                        ("value__gte", Decimal("-20")),
                                        ("value__lte", Decimal("30")),
                                    ),
                                    models.Q(
                                        ("quantity", "rim_width"),
                                        ("value__gte", Decimal("3")),
                                        ("value__lte", Decimal("90")),
                                    ),
                                    models.Q(
                                        ("quantity", "rim_diameter"),
                                        ("value__gte", Decimal("8")),
                                        ("value__lte", Decimal("120")),
                                    ),
                                    models.Q(
                                        ("quantity", "tyre_diameter"),
                                        ("value__gte", Decimal("10")),
                                        ("value__lte", Decimal("160")),
                                    ),
                                    models.Q(
                                        ("quantity", "tyre_width"),
                                        ("value__gte", Decimal("3")),
                                        ("value__lte", Decimal("90")),
                                    ),
                                    models.Q(
                                        ("quantity", "thickness"),
                                        ("value__gte", Decimal("0.05")),
                                        ("value__lte", Decimal("10")),
                                    ),
                                    models.Q(
                                        ("quantity", "reach"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("150")),
                                    ),
                                    models.Q(
                                        ("quantity", "teeth"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("150")),
                                    ),
                                    models.Q(
                                        ("quantity", "module"),
                                        ("value__gte", Decimal("0.1")),
                                        ("value__lte", Decimal("2")),
                                    ),
                                    models.Q(
                                        ("quantity", "speed_constant"),
                                        ("value__gte", Decimal("100")),
                                        ("value__lte", Decimal("30000")),
                                    ),
                                    models.Q(
                                        ("quantity", "can_diameter"),
                                        ("value__gte", Decimal("5")),
                                        ("value__lte", Decimal("60")),
                                    ),
                                    models.Q(
                                        ("quantity", "spring_rate"),
                                        ("value__gte", Decimal("0.001")),
                                        ("value__lte", Decimal("20")),
                                    ),
                                    _connector="OR",
                                ),
                            ),
                            _connector="OR",
                        ),
                        name="stated_figure_plausible",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("tolerance__isnull", True), ("tolerance__gte", 0), _connector="OR"),
                            models.Q(("uncertainty__isnull", True), ("uncertainty__gte", 0), _connector="OR"),
                        ),
                        name="stated_figure_doubt",
                    ),
                ],
            },
        ),
    ]
