"""A dispute and a line of record may be of an earlier day: an import or the demo says when it was."""

import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("setups", "0005_kept_answers")]

    operations = [
        migrations.AlterField("dispute", "opened_at", models.DateTimeField(default=django.utils.timezone.now)),
        migrations.AlterField("decision", "at", models.DateTimeField(default=django.utils.timezone.now)),
    ]
