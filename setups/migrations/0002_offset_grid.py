"""A wheel's offset must be on the grid of every platform that the wheel is said to fit.

The rule spans three tables (platform, fitment, the wheel's dimension), which a check constraint
cannot see, so triggers guard it on both databases: on a new or changed fitment, on a changed offset
and on a changed grid. They raise an integrity error named ``offset_outside_grid``.
"""

from django.db import migrations

# {platform} and {offset} are the rows under test; the remainder is compared with a small slack because
# SQLite keeps decimals as floating point.
OFF_GRID = """
    {offset} < {p}.offset_min OR {offset} > {p}.offset_max
    OR ABS(({offset} - {p}.offset_min) / {p}.offset_step
           - ROUND(({offset} - {p}.offset_min) / {p}.offset_step)) > 0.000001
"""

FITMENT = f"""
    SELECT 1 FROM setups_partdimension d
    JOIN setups_part w ON w.id = d.part_id AND w.kind = 'wheel'
    JOIN setups_platform p ON p.id = NEW.platform_id
    WHERE d.part_id = NEW.part_id AND d.quantity = 'offset'
      AND ({OFF_GRID.format(offset="d.value", p="p")})
"""
DIMENSION = f"""
    SELECT 1 FROM setups_fitment f
    JOIN setups_part w ON w.id = f.part_id AND w.kind = 'wheel'
    JOIN setups_platform p ON p.id = f.platform_id
    WHERE NEW.quantity = 'offset' AND f.part_id = NEW.part_id
      AND ({OFF_GRID.format(offset="NEW.value", p="p")})
"""
PLATFORM = f"""
    SELECT 1 FROM setups_fitment f
    JOIN setups_part w ON w.id = f.part_id AND w.kind = 'wheel'
    JOIN setups_partdimension d ON d.part_id = f.part_id AND d.quantity = 'offset'
    WHERE f.platform_id = NEW.id
      AND ({OFF_GRID.format(offset="d.value", p="NEW")})
"""
GUARDS = [
    ("fitment_offset_grid", "setups_fitment", FITMENT),
    ("dimension_offset_grid", "setups_partdimension", DIMENSION),
    ("platform_offset_grid", "setups_platform", PLATFORM),
]


def create(apps, schema_editor):
    for name, table, query in GUARDS:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(
                f"""
                CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$
                BEGIN
                    IF EXISTS ({query}) THEN
                        RAISE EXCEPTION 'offset_outside_grid' USING ERRCODE = 'check_violation';
                    END IF;
                    RETURN NEW;
                END $$
                """
            )
            schema_editor.execute(
                f"CREATE TRIGGER {name} BEFORE INSERT OR UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()"
            )
        else:
            for event in ("INSERT", "UPDATE"):
                schema_editor.execute(
                    f"""
                    CREATE TRIGGER {name}_{event.lower()} BEFORE {event} ON {table} FOR EACH ROW
                    WHEN EXISTS ({query})
                    BEGIN SELECT RAISE(ABORT, 'offset_outside_grid'); END
                    """
                )


def drop(apps, schema_editor):
    for name, table, _ in GUARDS:
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}")
            schema_editor.execute(f"DROP FUNCTION IF EXISTS {name}()")
        else:
            for event in ("insert", "update"):
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{event}")


class Migration(migrations.Migration):
    dependencies = [("setups", "0001_initial")]
    operations = [migrations.RunPython(create, drop)]
