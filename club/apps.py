from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models.signals import post_migrate, pre_migrate


class ClubConfig(AppConfig):
    name = "club"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from club import security_log  # noqa: F401  it listens from now on
        from club.accounts import passwords, sign_ins  # noqa: F401  checked at the start, and listening
        from club.garage import demo
        from club.racing import demo as racing
        from club.racing import demo_events
        from setups.demo import hooks

        hooks.moved_in.connect(demo.move_in, dispatch_uid="club.garage.demo.move_in")
        hooks.leaving.connect(sign_ins.clear_out, dispatch_uid="club.accounts.sign_ins.clear_out")
        hooks.leaving.connect(demo.clear_out, dispatch_uid="club.garage.demo.clear_out")
        hooks.moving_in.connect(racing.move_in, dispatch_uid="club.racing.demo.move_in")
        hooks.moved_in.connect(demo_events.move_in, dispatch_uid="club.racing.demo_events.move_in")
        # Events go before the classes that they race.
        hooks.leaving.connect(demo_events.clear_out, dispatch_uid="club.racing.demo_events.clear_out")
        hooks.leaving.connect(racing.clear_out, dispatch_uid="club.racing.demo.clear_out")
        pre_migrate.connect(_stand_aside, sender=self, dispatch_uid="club.racing.guards.remove")
        post_migrate.connect(_stand_guard, sender=self, dispatch_uid="club.racing.guards.install")


def _stand_aside(using: str, plan: list[Any], **_: Any) -> None:
    """As of ``setups.apps``: SQLite cannot remake a table that another one's trigger reads."""
    from club.racing import guards
    from club.racing.events import guards as race_days

    if plan and connections[using].vendor == "sqlite":
        guards.remove(using)
        race_days.remove(using)


def _stand_guard(using: str, **_: Any) -> None:
    from club.racing import guards
    from club.racing.events import guards as race_days

    guards.install(using)
    race_days.install(using)
