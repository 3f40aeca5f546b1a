from django.apps import AppConfig


class PortalConfig(AppConfig):
    name = "portal"
    verbose_name = "portal"

    def ready(self) -> None:
        from portal import checks  # noqa: F401  (registers the deployment checks)
