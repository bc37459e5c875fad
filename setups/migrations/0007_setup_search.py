"""Setups are searched by folded words and counted by facet; on PostgreSQL near names are found by trigrams."""

import logging

from django.db import Error, migrations, models, transaction

from setups.words import folded

log = logging.getLogger(__name__)

LISTED = ("verified", "posted", "disputed")
LEXEMES = """CREATE OR REPLACE FUNCTION setup_lexemes(words text) RETURNS tsvector
LANGUAGE plpgsql IMMUTABLE PARALLEL SAFE COST 5000
AS $$ BEGIN RETURN array_to_tsvector(string_to_array(words, ' ')); END $$"""
"""The words as they stand, not parsed again. The cost keeps the planner from reading a whole table by it."""
WORDS = "CREATE INDEX setup_words ON setups_setup USING gin (setup_lexemes(words))"
TRIGRAMS = "CREATE INDEX setup_name_trigrams ON setups_setup USING gin (name gin_trgm_ops)"


def fold_words(apps, schema_editor):
    setups = apps.get_model("setups", "Setup").objects.using(schema_editor.connection.alias)
    for setup in setups.only("words").iterator(chunk_size=500):
        setup.words = folded(setup.words)
        setup.save(update_fields=["words"])


def create_indexes(apps, schema_editor):
    if schema_editor.connection.vendor != "postgresql":
        return
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(LEXEMES)
        cursor.execute(WORDS)
        cursor.execute("SELECT 1 FROM pg_extension WHERE extname = 'pg_trgm'")
        if cursor.fetchone() is None:  # 0002 tried to have it
            return
        try:
            with transaction.atomic(schema_editor.connection.alias):
                cursor.execute(TRIGRAMS)
        except Error as error:
            log.warning("No trigrams of setups' names (%s)", str(error).strip())


def drop_indexes(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("DROP INDEX IF EXISTS setup_words")
        schema_editor.execute("DROP FUNCTION IF EXISTS setup_lexemes")
        schema_editor.execute("DROP INDEX IF EXISTS setup_name_trigrams")


class Migration(migrations.Migration):
    dependencies = [("setups", "0006_past_dates")]

    operations = [
        migrations.RunPython(fold_words, migrations.RunPython.noop),
        migrations.AddIndex(
            "setup",
            models.Index(
                models.F("state").desc(),
                models.F("confirmations").desc(),
                models.F("posted_at").desc(),
                models.F("id").desc(),
                condition=models.Q(state__in=LISTED),
                name="setup_by_evidence",
            ),
        ),
        migrations.AddIndex(
            "setup",
            models.Index(
                models.F("posted_at").desc(),
                models.F("id").desc(),
                condition=models.Q(state__in=LISTED),
                name="setup_by_age",
            ),
        ),
        migrations.AddIndex(
            "setup",
            models.Index(
                "circuit", "best_lap", "id", condition=models.Q(state__in=LISTED), name="setup_by_lap"
            ),
        ),
        migrations.AddIndex(
            "setup",
            models.Index(
                fields=[
                    "body",
                    "platform",
                    "state",
                    "surface",
                    "race_class",
                    "author",
                    "circuit",
                    "front_width",
                    "front_offset",
                    "rear_offset",
                    "wheelbase",
                ],
                condition=models.Q(state__in=LISTED),
                name="setup_facets",
            ),
        ),
        migrations.RunPython(create_indexes, drop_indexes),
    ]
