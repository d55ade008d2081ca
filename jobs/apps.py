from django.apps import AppConfig


class JobsConfig(AppConfig):
    name = "jobs"
    verbose_name = "Jobs"

    def ready(self) -> None:
        from garage import panels, search  # noqa: PLC0415 (models are not ready when this module is read)
        from jobs import forgetting, promises  # noqa: PLC0415 (as above)
        from jobs.panels import visits  # noqa: PLC0415 (as above)
        from jobs.panels_bay import condition  # noqa: PLC0415 (as above)

        panels.register("customer", visits)
        panels.register("vehicle", condition, order=1)
        panels.register("vehicle", visits)
        promises.register()
        forgetting.register_all()
        search.register("job", "job", "jobs:sheet")
