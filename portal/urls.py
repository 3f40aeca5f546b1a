"""All addresses of the portal. Each view has a rule in `portal.access.registry`."""

from __future__ import annotations

from django.urls import include, path

from portal.calendars import calendar
from portal.customer.handover import take
from portal.demo_signin import enter
from portal.health import healthz
from portal.home import home
from portal.record_page import record, record_check, record_json, record_pdf
from portal.report_check import report_check

urlpatterns = [
    path("", home, name="home"),
    path("healthz", healthz, name="healthz"),
    path("demo/<str:key>/<str:who>/", enter, name="demo_sign_in"),
    path("account/", include("portal.access.urls")),  # before the library's: what stands in both is ours
    path("account/", include("allauth.urls")),
    path("my/", include("portal.customer.urls")),
    path("studio/", include("portal.studio.urls")),
    path("check/<str:token>/", report_check, name="report_check"),
    path("check/record/<str:code>/", record_check, name="record_check"),
    path("handover/<str:token>/", take, name="handover"),
    path("record/<str:token>/", record, name="record"),
    path("record/<str:token>/pdf/", record_pdf, name="record_pdf"),
    path("record/<str:token>/json/", record_json, name="record_json"),
    path("calendar/<str:token>.ics", calendar, name="calendar"),
    path("mail/", include("portal.mail_urls")),
    path("api/", include("portal.api.urls")),
]
handler400 = "portal.uploads.bad_request"
