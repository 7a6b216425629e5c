from django.apps import AppConfig


class TapingConfig(AppConfig):
    name = "taping"
    verbose_name = "Taping"
