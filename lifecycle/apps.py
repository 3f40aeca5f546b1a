"""The domain as one Django app."""

from django.apps import AppConfig


class LifecycleConfig(AppConfig):
    name = "lifecycle"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Sheenward"

    def ready(self) -> None:
        from lifecycle.care.folding import teach_sqlite

        teach_sqlite()
