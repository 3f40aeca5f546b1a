"""Addresses that mails and mail providers use: the unsubscribe and choices links, and hooks/<provider>/tracking/."""

from __future__ import annotations

from anymail.urls import urlpatterns as anymail_patterns
from django.urls import URLPattern, include, path

from portal.customer.preferences import preferences
from portal.mailhooks import guarded, unsubscribe

app_name = "mail"

# Mail that comes in is not ours to read: only the tracking hooks are connected.
hooks = [
    URLPattern(
        pattern.pattern,
        guarded(pattern.callback, str(pattern.pattern).split("/")[0]),
        pattern.default_args,
        pattern.name,
    )
    for pattern in anymail_patterns
    if "inbound" not in str(pattern.pattern)
]

urlpatterns = [
    path("unsubscribe/<str:token>/", unsubscribe, name="unsubscribe"),
    path("choices/<str:token>/", preferences, name="choices"),
    path("hooks/", include((hooks, "anymail"))),
]
