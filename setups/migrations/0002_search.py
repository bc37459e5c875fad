"""Indexes that the facets are counted from and, on PostgreSQL, trigrams for near names.

The extension comes with PostgreSQL and the database's owner may create it. Where it is not installed or may
not be created the library does without: near names are then found by RapidFuzz.
"""

import logging

from django.db import Error, migrations, models, transaction

log = logging.getLogger(__name__)

INDEX = "CREATE INDEX IF NOT EXISTS body_name_trigrams ON setups_body USING gin (name gin_trgm_ops)"


def create_trigrams(apps, schema_editor):
    if schema_editor.connection.vendor != "postgresql":
        return
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_available_extensions WHERE name = 'pg_trgm'")
        if cursor.fetchone() is None:
            return
        try:
            with transaction.atomic(schema_editor.connection.alias):
                cursor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
                cursor.execute(INDEX)
        except Error as error:
            log.warning("No trigrams (%s): near names are looked for without them", str(error).strip())


def drop_index(apps, schema_editor):
    """The extension stays: others may use it."""
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("DROP INDEX IF EXISTS body_name_trigrams")


class Migration(migrations.Migration):
    dependencies = [("setups", "0001_initial")]

    operations = [
        migrations.AddIndex(
            model_name="body",
            index=models.Index(
                fields=["scale", "takes_rear_motor", "takes_mid_motor", "designated_front_width", "maker"],
                name="body_facets",
            ),
        ),
        migrations.AddIndex(
            model_name="bodydimension",
            index=models.Index(fields=["quantity", "body", "value"], name="body_dimension_facet"),
        ),
        migrations.RunPython(create_trigrams, drop_index),
    ]
