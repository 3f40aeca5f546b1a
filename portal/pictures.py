"""Hand out a stored picture to somebody who may see it."""

from __future__ import annotations

from django.http import FileResponse, HttpRequest, HttpResponseBase
from django.http.response import HttpResponseNotModified

from lifecycle.care.photos import PhotoFile


def picture_answer(request: HttpRequest, picture: PhotoFile) -> HttpResponseBase:
    """The picture as a stream, kept by this person's browser only; 304 where it has it already.

    Raises:
        NotFoundHere: the storage has lost the file.
    """
    answer: HttpResponseBase
    known = [tag.strip().removeprefix("W/") for tag in request.headers.get("If-None-Match", "").split(",")]
    if picture.etag in known:
        answer = HttpResponseNotModified()
    else:
        answer = FileResponse(picture.open(), filename=picture.name, content_type="image/jpeg")
    answer["ETag"] = picture.etag
    answer["Cache-Control"] = "private, max-age=3600"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer
