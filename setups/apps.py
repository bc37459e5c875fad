from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate, pre_migrate


class SetupsConfig(AppConfig):
    name = "setups"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        pre_migrate.connect(_stand_aside, sender=self, dispatch_uid="setups.guards.remove")
        post_migrate.connect(_stand_guard, sender=self, dispatch_uid="setups.guards.install")


def _stand_aside(using: str, plan: list[Any], **_: Any) -> None:
    """Before migrations run on SQLite, which cannot remake a table that another one's trigger reads."""
    from setups import guards, marks, tallies

    if plan and connections[using].vendor == "sqlite":
        guards.remove(using)
        marks.remove(using)
        tallies.remove(using)


def _stand_guard(using: str, **_: Any) -> None:
    from setups import guards, marks, tallies

    guards.install(using)
    marks.install(using)
    tallies.install(using)
