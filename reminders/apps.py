from django.apps import AppConfig


class RemindersConfig(AppConfig):
    name = "reminders"
    verbose_name = "Reminders"

    def ready(self) -> None:
        from django.core.checks import Tags, register

        from reminders import receivers
        from reminders.services.grown import redis_keeps_all

        receivers.connect()
        # With --deploy alone: it asks a server that need not be there for the other commands.
        register(redis_keeps_all, Tags.compatibility, deploy=True)
