"""Practice and readiness."""

from django.urls import URLPattern, URLResolver, path

from inspections.pages import practising, readiness

urlpatterns: list[URLPattern | URLResolver] = [
    path("practice", practising.PracticeView.as_view(), name="practice"),
    path("practice/reels/<int:exercise_id>", practising.PracticeStepView.as_view(), name="practice-reel"),
    path("practice/reels/<int:exercise_id>/answers", practising.answers, name="practice-answers"),
    path("practice/people", readiness.people, name="practice-people"),
    path("practice/people/<int:person_id>", readiness.one_person, name="practice-person"),
]
