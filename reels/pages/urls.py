from django.urls import URLPattern, URLResolver, path

from reels.pages import views

urlpatterns: list[URLPattern | URLResolver] = [
    path("login", views.Login.as_view(), name="login"),
    path("logout", views.Logout.as_view(), name="logout"),
    path("length-unit", views.length_unit, name="length-unit"),
]
