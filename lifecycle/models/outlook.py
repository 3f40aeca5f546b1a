"""The outlook as it was prepared: a sheet for each site and for all of them, and the rows behind every figure."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .people import Customer, Site
from .vehicle import Vehicle


class OutlookSheet(StudioRow):
    """One page of the outlook, ready to be shown. `site` empty: all sites. `body` is a
    `lifecycle.outlook.sheet.Sheet`. Written anew at every preparation."""

    site = models.ForeignKey(Site, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    as_of = models.DateField()
    made_at = models.DateTimeField()
    body = models.JSONField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["site"], condition=Q(site__isnull=False), name="outlook_sheet_site"),
            models.UniqueConstraint(fields=["studio"], condition=Q(site=None), name="outlook_sheet_all"),
        )


class OutlookRow(StudioRow):
    """One visit, care window or renewal that the figures were drawn from; hours as in `outlook.capacity`. Written anew
    at every preparation.

    Attributes:
        visit: chance that the customer comes; 1 where `take_up` holds that, too.
        visits: how often they came back so far.
        rate: which rate `take_up` is the mean of: a task, "booked" or "said yes".
        take_up: chance that it is taken up by who comes.
    """

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="+")
    split = models.CharField(max_length=10)
    task = models.CharField(max_length=40)
    source = models.CharField(max_length=30)
    made_on = models.DateField()
    earliest = models.DateField()
    ideal = models.DateField()
    latest = models.DateField()
    visit = models.FloatField(default=1.0)
    visits = models.PositiveIntegerField(default=0)
    rate = models.CharField(max_length=40, default="")
    take_up = models.FloatField()
    price_low = models.FloatField()
    price_high = models.FloatField()
    labour_h = models.FloatField()
    why = models.CharField(max_length=300)

    class Meta:
        indexes = (
            models.Index(fields=["studio", "split", "latest"], name="outlook_row_all"),
            models.Index(fields=["site", "split", "latest"], name="outlook_row_site"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(earliest__lte=F("ideal"), ideal__lte=F("latest")), name="outlook_row_order"
            ),
            models.CheckConstraint(condition=Q(take_up__gte=0, take_up__lte=1), name="outlook_row_chance"),
            models.CheckConstraint(condition=Q(visit__gte=0, visit__lte=1), name="outlook_row_visit"),
        )


class CustomerOutlook(StudioRow):
    """What is expected of one customer, and whether they are slipping. Written anew at every preparation.

    Attributes:
        first, last: their first day and the day of the latest visit.  visits: after the first.
        alive, comes_12m: chances that they still are a customer, and come within twelve months.  visits_12m: expected.
        value_12m: `visits_12m` times `value_per_visit`, in the studio's currency.
        gone: why nothing is expected of them although they are not lost; "" for all others.
        says: what the figures rest on.
        usual_days, own: their usual interval, and whether it is their own.
        slips: they stay away too long, or care is past its latest date; whether they have booked is for the page.
        yearly: what they bring in a year while they come.  worth: that times `comes_12m`.
    """

    customer = models.OneToOneField(Customer, on_delete=models.CASCADE, related_name="+")
    made_on = models.DateField()
    first = models.DateField()
    last = models.DateField()
    visits = models.PositiveIntegerField()
    alive = models.FloatField()
    visits_12m = models.FloatField()
    comes_12m = models.FloatField()
    value_per_visit = models.FloatField()
    value_12m = models.FloatField()
    gone = models.CharField(max_length=200, blank=True)
    says = models.TextField(blank=True)
    usual_days = models.PositiveIntegerField()
    own = models.BooleanField()
    slips = models.BooleanField()
    yearly = models.FloatField()
    worth = models.FloatField()

    class Meta:
        indexes = (
            models.Index(fields=["studio", "slips", "-worth"], name="customer_outlook_slips"),
            models.Index(fields=["studio", "-value_12m"], name="customer_outlook_value"),
        )
