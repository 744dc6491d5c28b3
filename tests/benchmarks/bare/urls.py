from django.urls import path

from deploy.urls import handler400, handler403, handler404, handler500
from deploy.urls import urlpatterns as service
from tests.benchmarks.bare.views import Bare, rows

__all__ = ["handler400", "handler403", "handler404", "handler500"]
urlpatterns = [path("bare-rows", rows), path("bare/<str:serial>", Bare.as_view()), *service]
