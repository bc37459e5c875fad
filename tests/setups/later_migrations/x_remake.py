"""A wider offset column and a longer name: each makes SQLite remake a table that guards stand on or read."""

import pkgutil

from django.db import migrations as django_migrations
from django.db import models

from setups import migrations

_LAST = max(module.name for module in pkgutil.iter_modules(migrations.__path__))


class Migration(django_migrations.Migration):
    dependencies = [("setups", _LAST)]
    operations = [
        django_migrations.AlterField(
            "platform", "offset_min", models.DecimalField(max_digits=7, decimal_places=2, default=0)
        ),
        django_migrations.AlterField("part", "part_number", models.CharField(max_length=60, blank=True)),
        django_migrations.AlterField(
            "fitment",
            "part",
            models.ForeignKey(
                "setups.part", on_delete=models.PROTECT, related_name="fitments", db_index=False
            ),
        ),
    ]
