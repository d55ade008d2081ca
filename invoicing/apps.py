from django.apps import AppConfig


class InvoicingConfig(AppConfig):
    name = "invoicing"
    verbose_name = "Books"

    def ready(self) -> None:
        from garage import search  # noqa: PLC0415 (models are not ready when this module is read)
        from invoicing import accounts, panels, papers, promises, promises_money  # noqa: PLC0415 (as above)
        from jobs import objections  # noqa: PLC0415 (as above)

        papers.register()
        panels.register()
        promises.register()
        promises_money.register()
        objections.register(accounts.objection_to_canceling)
        search.register("invoice", "invoice", "invoicing:invoice")
