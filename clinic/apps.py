from django.apps import AppConfig


class ClinicConfig(AppConfig):
    name = "clinic"
    verbose_name = "Clinic"

    def ready(self) -> None:
        from clinic import checks  # noqa: F401  # registers the named checks
