from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"
    verbose_name = "Jobs"

    def ready(self) -> None:
        from garage import panels, search  # noqa: PLC0415 (models are not ready when this module is read)
        from jobs.panels import visits  # noqa: PLC0415 (as above)

        panels.register("customer", visits)
        panels.register("vehicle", visits)
        search.register("job", "job", "jobs:sheet")
