"""Addresses of the studio's pages."""

from __future__ import annotations

from django.urls import path

from . import bookings, customers, figures, letters, outlook, records, sites, vehicles, work

app_name = "studio"
urlpatterns = [
    path("", work.work, name="work"),
    path("vehicles/", vehicles.vehicles, name="vehicles"),
    path("vehicle/<int:vehicle_id>/", vehicles.vehicle, name="vehicle"),
    path("vehicle/<int:vehicle_id>/book/", work.book, name="book"),
    path("vehicle/<int:vehicle_id>/layer/", records.layer, name="record_layer"),
    path("vehicle/<int:vehicle_id>/event/", records.event, name="record_event"),
    path("vehicle/<int:vehicle_id>/inspection/", records.inspection, name="record_inspection"),
    path("customers/", customers.customers, name="customers"),
    path("customers/<int:customer_id>/", customers.customer, name="customer"),
    path(
        "customers/<int:customer_id>/complaints/<int:complaint_id>/close/",
        customers.close_complaint,
        name="close_complaint",
    ),
    path("bookings/", bookings.bookings, name="bookings"),
    path("bookings/<int:visit_id>/settle/", bookings.settle, name="settle"),
    path("reminders/", letters.reminders, name="reminders"),
    path("reminders/<int:reminder_id>/", letters.preview, name="preview"),
    path("reminders/pause/", letters.pause, name="pause"),
    path("outbox/", letters.outbox, name="outbox"),
    path("outbox/<int:message_id>/", letters.message, name="message"),
    path("outbox/<int:message_id>/page/", letters.message_page, name="message_page"),
    path("offers/", outlook.open_offers, name="offers"),
    path("offers/<int:offer_id>/", outlook.answer, name="answer"),
    path("sites/", sites.sites, name="sites"),
    path("sites/<int:site_id>/", sites.site, name="site"),
    path("sites/<int:site_id>/place/", sites.site_place, name="site_place"),
    path("figures/", figures.table, name="figures"),
    path("figures/of/<str:group>/", figures.table, name="figure_group"),
    path("figures/<str:key>/", figures.figure, name="figure"),
    path("outlook/", outlook.outlook, name="outlook"),
]
