"""What tests of the API share: the people, each with a way in, and a reel."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from reels.domain.words import Scope
from reels.models import Person
from reels.services import tokens
from reels.services.history import Actor
from tests import builders
from tests.api_client import ApiClient
from tests.builders import Cast


class Ways:
    """A client for each of the cast, by the part they play; and for nobody and the administrator."""

    def __init__(self, cast: Cast) -> None:
        self.cast = cast
        self.nobody = ApiClient()
        self.administrator = ApiClient(builders.administrator())

    def __getattr__(self, name: str) -> ApiClient:
        client = ApiClient(getattr(self.cast, name))
        setattr(self, name, client)
        return client


@pytest.fixture
def cast(db: None) -> Cast:
    return Cast()


@pytest.fixture
def ways(cast: Cast) -> Ways:
    builders.make_machine("RM-7")
    builders.gauge_for(builders.make_reel())
    return Ways(cast)


def make_token(person: Person, *scopes: Scope, **changes: Any) -> str:
    """A token's secret."""
    at = timezone.now()
    fields: dict[str, Any] = {"name": "spool", "expires_at": at + timedelta(days=30), **changes}
    _, secret = tokens.issue(person=person, scopes=list(scopes), actor=Actor(builders.administrator()), at=at, **fields)
    return secret


@pytest.fixture
def token_way() -> Callable[..., ApiClient]:
    """A client with a new token of a person's, for the scopes named."""
    return lambda person, *scopes, **changes: ApiClient(token=make_token(person, *scopes, **changes))


NEW_TYPE = {
    "code": "w30", "core_diameter_mm": "300", "cable_diameter_mm": "10", "wraps_odd_layer": 30, "wraps_even_layer": 29,
    "max_layers": 20, "anchor_side": "left",
}  # fmt: skip
FOUND = {
    "part": "cable", "kind": "kink", "severity": "watch", "layer": None, "side": None, "visible_wrap": None,
    "length_from_end_m": "2.5", "words": "a kink",
}  # fmt: skip
PREPARATION: dict[str, Any] = {
    "work_order": "WO-1001", "publication": "LWS 12-3", "publication_revision": "C",
    "cable_sound": True, "winding_sound": True, "drum_sound": True, "end_fitting_sound": True, "scales_sound": True,
    "cautions_confirmed": True,
    "turned_as_installed": True, "marks_found": True,
}  # fmt: skip

HOLD_POINTS = (
    "serial", "open_side", "scale_left", "scale_right", "hand_wraps", "gauge_face", "gauge_wraps", "crossover_half",
)  # fmt: skip


def both(cast: Cast, verifier: dict[str, Any] | None = None, gauge: str = "WG-0001",
         **changes: Any) -> dict[str, Any]:  # fmt: skip
    """A body for readings: both see the worked example, but for the changes; the gauge is back."""
    seen = {"serial": "LW-0001", **builders.GOOD, **changes}
    points = {name: seen[name] for name in HOLD_POINTS}
    return {
        "gauge": {"wrap_gauge": gauge, "end_marks_match": True, "is_back": True},
        "technician": {"person": cast.technician.username, **seen},
        "verifier": {"person": cast.verifier.username, **points, **(verifier or {})},
    }
