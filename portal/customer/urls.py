"""The customer's pages."""

from django.urls import path

from . import care_log, data, fleet, guide, handover, home_screen, record, reports, views, visits, what_if, wishes

app_name = "customer"
urlpatterns = [
    path("", views.home, name="home"),
    path("vehicle/<int:vehicle_id>/", views.vehicle, name="vehicle"),
    path("vehicle/<int:vehicle_id>/surface/<int:surface_id>/", views.surface, name="surface"),
    path("vehicle/<int:vehicle_id>/what-if/", what_if.what_if, name="what_if"),
    path("vehicle/<int:vehicle_id>/guide/", guide.guide, name="guide"),
    path("vehicle/<int:vehicle_id>/log/", care_log.log, name="log"),
    path("vehicle/<int:vehicle_id>/handover/", handover.give, name="handover"),
    path("vehicle/<int:vehicle_id>/record/", record.care_record, name="care_record"),
    path("photos/<uuid:uid>/<str:size>/", views.photo, name="photo"),
    path("report/<int:report_id>/", reports.report, name="report"),
    path("report/<int:report_id>/pdf/", reports.report_pdf, name="report_pdf"),
    path("choices/", wishes.choices, name="choices"),
    path("app.webmanifest", home_screen.manifest, name="manifest"),
    path("worker.js", home_screen.worker, name="worker"),
    path("data/", data.readable, name="data"),
    path("data/json/", data.download, name="data_json"),
    path("erase/<int:customer_id>/", data.erase, name="erase"),
    path("fleet/", fleet.fleet, name="fleet"),
    path("fleet/csv/", fleet.fleet_csv, name="fleet_csv"),
    path("visits/", visits.visits, name="visits"),
    path("vehicle/<int:vehicle_id>/ask/", visits.ask, name="ask"),
    path("vehicle/<int:vehicle_id>/ask/<int:proposal_id>/", visits.ask, name="accept"),
    path("visits/<int:visit_id>/move/", visits.move, name="move_visit"),
    path("visits/<int:visit_id>/cancel/", visits.cancel, name="cancel_visit"),
    path("visits/<int:visit_id>/choose/", visits.choose, name="choose_day"),
    path("visits/<int:visit_id>/visit.ics", visits.visit_ics, name="visit_ics"),
    path("visits/calendar/<int:customer_id>/", visits.feed, name="feed"),
]
