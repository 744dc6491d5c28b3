"""A photo, for whoever may see what it shows."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inspections import access
from inspections.domain.photos import ENDINGS
from inspections.models.counts import PhotoBytes
from inspections.queries.keyings import photo_for
from reels.pages.answers import page, reader


@page
def photo(request: HttpRequest, inspection_id: int, photo_id: int) -> HttpResponse:
    """What goes with a keying."""
    inspection = access.inspection_for_read(inspection_id, reader(request), timezone.now())
    photo = photo_for(inspection, photo_id, reader(request))
    keying = photo.keying
    name = f"inspection-{inspection.pk}-reading-{keying.reading.number}-{keying.point}-{keying.role}-{keying.attempt}"
    return as_file(photo, name)


def as_file(photo: PhotoBytes, name: str) -> HttpResponse:
    """The bytes as they came, as a file to keep: whatever is in them, the browser runs none of it."""
    answer = HttpResponse(bytes(photo.content), content_type=photo.media_type)
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}.{ENDINGS[photo.media_type]}"'
    answer.headers["X-Content-Type-Options"] = "nosniff"
    return answer
