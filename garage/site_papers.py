"""The addresses of documents and mail."""

from django.urls import path

from garage.views import papers

urlpatterns = [
    path("documents/<int:pk>/", papers.document, name="document"),
    path("documents/<int:pk>/status/", papers.document_status, name="document-status"),
    path("documents/<int:pk>/make/", papers.document_make, name="document-make"),
    path("mail/", papers.mail_list, name="mail"),
    path("mail/<int:pk>/message.eml", papers.mail_file, name="mail-file"),
    path("mail/<int:pk>/again/", papers.mail_again, name="mail-again"),
    path("mail/<int:pk>/arrived/", papers.mail_arrived, name="mail-arrived"),
]
