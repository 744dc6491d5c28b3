from django.urls import URLPattern, URLResolver, path

from reels.pages import account, people, views

urlpatterns: list[URLPattern | URLResolver] = [
    path("login", views.Login.as_view(), name="login"),
    path("logout", views.Logout.as_view(), name="logout"),
    path("account", account.account, name="account"),
    path("account/password", account.change_password, name="change-password"),
    path("account/second-factor", account.second_factor_page, name="second-factor"),
    path("account/sessions", account.end_sessions, name="end-sessions"),
    path("people", people.everybody, name="people"),
    path("people/<username:username>/enrolment", people.enrolment, name="enrolment"),
    path("people/<username:username>/second-factor", people.second_factor_end, name="end-second-factor"),
    path("length-unit", views.length_unit, name="length-unit"),
]
