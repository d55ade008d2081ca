"""The addresses of the bay and of the procedures; `jobs.urls` takes them in."""

from django.urls import path

from jobs.views import bay, procedures, samples, steps

bay_urls = [
    path("bay/<int:pk>/", bay.bay_job, name="bay-job"),
    path("bay/<int:pk>/start/", bay.start, name="bay-start"),
    path("bay/<int:pk>/work-order/", bay.work_order, name="work-order"),
    path("bay/<int:pk>/finish/", bay.finish, name="bay-finish"),
    path("bay/<int:pk>/advisory/", samples.advisory, name="advisory"),
    path("bay/advisories/<int:pk>/<slug:state>/", samples.advisory_settle, name="advisory-settle"),
    path("bay/operations/<int:pk>/reopen/", bay.reopen, name="bay-reopen"),
    path("bay/operations/<int:pk>/words/", bay.findings, name="bay-findings"),
    path("bay/lines/<int:pk>/draw/", bay.draw, name="bay-draw"),
    path("bay/lines/<int:pk>/return/", bay.bring_back, name="bay-return"),
    path("bay/steps/<int:pk>/photo/", steps.photo, name="step-photo"),
    path("bay/steps/<int:pk>/answer/", steps.sample_answer, name="sample-answer"),
    path("bay/steps/<int:pk>/<slug:kind>/", steps.act_on_step, name="bay-step"),
    path("bay/samples/<int:vehicle>/<int:component>/", samples.samples, name="samples"),
    path("bay/procedures/", procedures.procedures, name="procedures"),
    path("bay/procedures/file/", procedures.take_in, name="procedure-file"),
    path("bay/procedures/<int:pk>/", procedures.procedure, name="procedure"),
    path("bay/procedures/<int:pk>/<int:number>/", procedures.procedure, name="procedure-revision"),
    path("bay/procedures/<int:pk>/<int:number>/file/", procedures.export, name="procedure-export"),
]
