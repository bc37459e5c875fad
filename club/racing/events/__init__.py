"""Race days: events, entry lists, inspections and their record."""
