"""All addresses of the portal. Each view has a rule in `portal.access.registry`."""

from __future__ import annotations

from django.urls import include, path

from portal.demo_signin import enter
from portal.health import healthz
from portal.home import home

urlpatterns = [
    path("", home, name="home"),
    path("healthz", healthz, name="healthz"),
    path("demo/<str:key>/<str:who>/", enter, name="demo_sign_in"),
    path("account/", include("allauth.urls")),
    path("my/", include("portal.customer.urls")),
    path("studio/", include("portal.studio.urls")),
    path("mail/", include("portal.mail_urls")),
]
