from django.apps import AppConfig


class TapingConfig(AppConfig):
    name = "taping"
    verbose_name = "Taping"

    def ready(self) -> None:
        from taping import receivers

        receivers.connect()
