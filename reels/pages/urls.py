from django.urls import URLPattern, URLResolver, path

from reels.pages import account, checkpoints, people, publications, tasks, types, views

urlpatterns: list[URLPattern | URLResolver] = [
    path("login", views.Login.as_view(), name="login"),
    path("logout", views.Logout.as_view(), name="logout"),
    path("account", account.account, name="account"),
    path("account/password", account.PasswordView.as_view(), name="change-password"),
    path("account/second-factor", account.SecondFactorView.as_view(), name="second-factor"),
    path("account/sessions", account.SessionsEndView.as_view(), name="end-sessions"),
    path("people", people.everybody, name="people"),
    path("people/<username:username>/enrolment", people.EnrolmentView.as_view(), name="enrolment"),
    path("people/<username:username>/second-factor", people.SecondFactorEndView.as_view(), name="end-second-factor"),
    path("people/<username:username>/unlocking", people.UnlockingView.as_view(), name="unlock-login"),
    path("tasks", tasks.everything, name="tasks"),
    path("tasks/<uuid:pk>", tasks.one, name="task"),
    path("tasks/<uuid:pk>/stop", tasks.StopView.as_view(), name="task-stop"),
    path("tasks/<uuid:pk>/resumption", tasks.ResumeView.as_view(), name="task-resumption"),
    path("tasks/<uuid:pk>/retry", tasks.RetryView.as_view(), name="task-retry"),
    path("tasks/<uuid:pk>/stamp", tasks.stamp, name="task-stamp"),
    path("publications", publications.publications, name="publications"),
    path("publications/add", publications.PublicationAddView.as_view(), name="publication-add"),
    path("publications/<int:publication_id>/end", publications.PublicationEndView.as_view(), name="publication-end"),
    path("checkpoints", checkpoints.all_checkpoints, name="checkpoints"),
    path("checkpoints/<int:entries>/witnesses", checkpoints.CountersignView.as_view(), name="checkpoint-countersign"),
    path("witnesses/add", checkpoints.WitnessAddView.as_view(), name="witness-add"),
    path("witnesses/<int:witness_id>/end", checkpoints.WitnessEndView.as_view(), name="witness-end"),
    path("types", types.reel_types, name="reel-types"),
    path("types/<code:code>", types.reel_type, name="reel-type"),
    path("types/<code:code>/sources", types.RuleSourcesView.as_view(), name="rule-sources"),
    path("types/<code:code>/confirmation", types.RuleConfirmationView.as_view(), name="rule-confirmation"),
    path("length-unit", views.length_unit, name="length-unit"),
]
