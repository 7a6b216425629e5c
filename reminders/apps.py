from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "reminders"
    verbose_name = "Reminders"

    def ready(self) -> None:
        from reminders import receivers

        receivers.connect()
