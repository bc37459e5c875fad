"""The library's own migrations and one more, which has SQLite remake its tables."""

from setups import migrations

__path__ = [*migrations.__path__, *__path__]
