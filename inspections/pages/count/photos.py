"""A photo, for whoever may see what it shows."""

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone

from inspections import access
from inspections.domain.photos import JPEG
from inspections.errors import PhotoNotTaken
from inspections.models.counts import PhotoBytes
from inspections.queries.keyings import photo_for
from inspections.services.photos import shown
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
    """A copy of its pixels, as a file to keep: whatever came with them, nobody gets it and no browser runs it."""
    try:
        answer = HttpResponse(shown(photo), content_type=JPEG)
    except PhotoNotTaken as refused:  # kept before photos were decoded
        raise Http404(f"{refused} It is kept as it came.") from refused
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}.jpg"'
    answer.headers["X-Content-Type-Options"] = "nosniff"
    return answer
