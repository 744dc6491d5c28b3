from django.urls import URLPattern, URLResolver, path

from reels.api import checkpoints, converters, reference, views  # noqa: F401  # converters registers the kinds of path parts

urlpatterns: list[URLPattern | URLResolver] = [
    path("session", views.Session.as_view()),
    path("people", views.People.as_view()),
    path("people/<username:username>", views.PersonDetail.as_view()),
    path("people/<username:username>/postings", views.Postings.as_view()),
    path("tokens", views.Tokens.as_view()),
    path("tokens/<id:token_id>/revocation", views.TokenRevocation.as_view()),
    path("sites", views.Sites.as_view()),
    path("sites/<code:code>", views.SiteDetail.as_view()),
    path("reel-types", views.ReelTypes.as_view()),
    path("reel-types/<code:code>", views.ReelTypeDetail.as_view()),
    path("machines", views.Machines.as_view()),
    path("machines/<serial:serial>", views.MachineDetail.as_view()),
    path("reels/<serial:serial>/history", views.History.as_view()),
    path("reels/<serial:serial>/history/export", checkpoints.HistoryExport.as_view()),
    path("checkpoints", checkpoints.Checkpoints.as_view()),
    path("checkpoints/<id:entries>", checkpoints.CheckpointDetail.as_view()),
    path("checkpoints/<id:entries>/inclusion", checkpoints.CheckpointInclusion.as_view()),
    path("checkpoints/<id:entries>/consistency", checkpoints.CheckpointConsistency.as_view()),
    path("changes", views.Changes.as_view()),
    path("openapi", reference.OpenApi.as_view()),
]
