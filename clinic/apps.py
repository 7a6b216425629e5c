from django.apps import AppConfig


class ClinicConfig(AppConfig):
    name = "clinic"
    verbose_name = "Clinic"

    def ready(self) -> None:
        from django.contrib.auth.signals import user_logged_in

        from clinic import checks  # noqa: F401  # registers the named checks
        from clinic.views import security_log
        from clinic.views.session import began

        user_logged_in.connect(began, dispatch_uid="clinic.session_began")
        security_log.connect()
