"""Photos of what was keyed, for whoever may see the value that they show."""

from inspections import queries
from inspections.models import Inspection, Photo
from reels.errors import NotFound
from reels.models import Person


def photos_for(inspection: Inspection, viewer: Person) -> dict[int, Photo]:
    """The photos that somebody may see, by keying, without their bytes. One query."""
    seen = (each.row for each in queries.keyings_for(inspection, viewer) if each.values is not None)
    return {row.pk: row.photo for row in seen if row.photo_digest}


def photo_for(inspection: Inspection, photo_id: int, viewer: Person) -> Photo:
    """A photo with its bytes. Raises NotFound also for one that is blind to this person. Two queries."""
    if not any(photo.pk == photo_id for photo in photos_for(inspection, viewer).values()):
        raise NotFound(what="photo", key=photo_id)
    return Photo.objects.select_related("keying__reading", "keying__participant").get(pk=photo_id)
