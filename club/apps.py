from django.apps import AppConfig


class ClubConfig(AppConfig):
    name = "club"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from club.garage import demo
        from setups.demo import hooks

        hooks.moved_in.connect(demo.move_in, dispatch_uid="club.garage.demo.move_in")
        hooks.leaving.connect(demo.clear_out, dispatch_uid="club.garage.demo.clear_out")
