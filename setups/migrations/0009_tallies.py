"""Counts of the listed setups that every change keeps up (``setups.tallies``)."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("setups", "0008_sizes"),
    ]

    operations = [
        migrations.CreateModel(
            name="Tally",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("scope", models.CharField(max_length=80)),
                ("facet", models.CharField(max_length=10)),
                ("value", models.CharField(max_length=160)),
                ("number", models.IntegerField()),
            ],
            options={
                "indexes": [
                    models.Index(
                        models.F("scope"),
                        models.F("facet"),
                        models.OrderBy(models.F("number"), descending=True),
                        models.F("value"),
                        name="tally_by_number",
                    )
                ],
                "constraints": [
                    models.UniqueConstraint(fields=("scope", "facet", "value"), name="tally_once")
                ],
            },
        ),
        migrations.CreateModel(
            name="TallyChange",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("scope", models.CharField(max_length=80)),
                ("facet", models.CharField(max_length=10)),
                ("value", models.CharField(max_length=160)),
                ("number", models.IntegerField()),
            ],
            options={
                "indexes": [models.Index(fields=["scope", "facet"], name="tally_change_of")],
            },
        ),
    ]
