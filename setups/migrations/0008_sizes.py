"""Bodies and parts are found, and a body's setups listed, by an index; marks say that counts have changed."""

import logging

from django.db import Error, migrations, models, transaction

log = logging.getLogger(__name__)

LISTED = ("verified", "posted", "disputed")
WORDS = (
    """CREATE INDEX body_words ON setups_body
    USING gin (UPPER((name || ' ' || part_number || ' ' || full_size_car)) gin_trgm_ops)""",
    "CREATE INDEX part_words ON setups_part USING gin (UPPER((name || ' ' || part_number)) gin_trgm_ops)",
)


def create_trigrams(apps, schema_editor):
    if schema_editor.connection.vendor != "postgresql":
        return
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_extension WHERE extname = 'pg_trgm'")
        if cursor.fetchone() is None:  # 0002 tried to have it
            return
        try:
            with transaction.atomic(schema_editor.connection.alias):
                for index in WORDS:
                    cursor.execute(index)
        except Error as error:
            log.warning("No trigrams of words (%s)", str(error).strip())


def drop_trigrams(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("DROP INDEX IF EXISTS body_words")
        schema_editor.execute("DROP INDEX IF EXISTS part_words")


class Migration(migrations.Migration):
    dependencies = [("setups", "0007_setup_search")]

    operations = [
        migrations.CreateModel(
            name="Mark",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("of", models.CharField(max_length=10)),
                ("token", models.BigIntegerField()),
            ],
            options={"indexes": [models.Index(fields=["of", "id"], name="mark_of")]},
        ),
        migrations.AddIndex(
            "setup",
            models.Index(
                models.F("body"),
                models.F("state").desc(),
                models.F("posted_at").desc(),
                models.F("id").desc(),
                condition=models.Q(state__in=LISTED),
                name="setup_of_body",
            ),
        ),
        migrations.RunPython(create_trigrams, drop_trigrams),
    ]
