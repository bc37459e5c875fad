from django.apps import AppConfig


class SetupsConfig(AppConfig):
    name = "setups"
    default_auto_field = "django.db.models.BigAutoField"
