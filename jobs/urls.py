"""The addresses of the jobs: the counter's here, the bay's in urls_bay.py."""

from django.urls import path

from jobs.urls_bay import bay_urls
from jobs.views import due, intake, lines, operations, readings, sheet, visits

app_name = "jobs"
counter_urls = [
    path("counter/due/", due.due, name="due"),
    path("counter/new/", intake.intake, name="intake"),
    path("counter/new/customers/", intake.intake_customers, name="intake-customers"),
    path("counter/new/vehicles/", intake.intake_vehicles, name="intake-vehicles"),
    path("counter/new/known/", intake.intake_known, name="intake-known"),
    path("jobs/<int:pk>/", sheet.sheet, name="sheet"),
    path("jobs/<int:pk>/foot/", sheet.foot, name="foot"),
    path("jobs/<int:pk>/papers/", sheet.papers, name="papers"),
    path("jobs/<int:pk>/edit/", sheet.job_edit, name="job-edit"),
    path("jobs/<int:pk>/cancel/", sheet.job_cancel, name="job-cancel"),
    path("jobs/<int:pk>/taken/", sheet.car_taken, name="car-taken"),
    path("jobs/<int:pk>/again/", sheet.job_again, name="job-again"),
    path("jobs/<int:pk>/start/", sheet.job_start, name="job-start"),
    path("jobs/<int:pk>/photos/", sheet.photo_add, name="photo-add"),
    path("jobs/<int:pk>/take-up/", sheet.offer_take, name="offer-take"),
    path("jobs/put-back/<int:pk>/", sheet.removed_back, name="put-back"),
    path("jobs/<int:pk>/operations/new/", operations.operation_add, name="operation-add"),
    path("jobs/<int:pk>/operations/from/<int:procedure_pk>/", operations.procedure_take, name="procedure-take"),
    path("operations/<int:pk>/", operations.operation, name="operation"),
    path("operations/<int:pk>/edit/", operations.operation_edit, name="operation-edit"),
    path("operations/<int:pk>/up/", operations.operation_move, {"up": True}, name="operation-up"),
    path("operations/<int:pk>/down/", operations.operation_move, {"up": False}, name="operation-down"),
    path("operations/<int:pk>/offer-again/", operations.operation_again, name="offer-again"),
    path("operations/<int:pk>/remove/", operations.operation_remove, name="operation-remove"),
    path("operations/<int:pk>/lines/new/", lines.line_add, name="line-add"),
    path("readings/<int:pk>/correct/", readings.reading_correct, name="reading-correct"),
    path("operations/<int:pk>/goodwill/", lines.goodwill_add, name="goodwill-add"),
    path("lines/<int:pk>/core-in/", lines.core_in, name="core-in"),
    path("lines/amount/", lines.line_amount, name="line-amount"),
    path("lines/<int:pk>/", lines.line_edit, name="line-edit"),
    path("lines/<int:pk>/remove/", lines.line_remove, name="line-remove"),
    path("customers/<int:pk>/visits/", visits.of_customer, name="customer-visits"),
    path("vehicles/<int:pk>/visits/", visits.of_vehicle, name="vehicle-visits"),
]
urlpatterns = [*counter_urls, *bay_urls]
