"""Who a signed-in person is: member of a studio, customer, or neither."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db import IntegrityError, transaction
from django.db.models import OuterRef, Subquery

from lifecycle import journal
from lifecycle.care.tongue.measures import of_country
from lifecycle.models import Customer, Keeper, Member, Studio, User


@dataclass(frozen=True, slots=True)
class MemberFacts:
    """A person at work in a studio. `role` is owner, technician or desk."""

    id: int
    studio: Studio
    role: str
    name: str

    @property
    def actor(self) -> str:
        """How the journal names this member."""
        return f"member:{self.id}"


@dataclass(frozen=True, slots=True)
class CustomerFacts:
    """A person as the customer of one or more studios. `languages`: those on record, the person's before the studio's,
    with the first customer of theirs first. `units`: as they chose, else as is usual where their vehicle is. `zone`: of
    the first customer of theirs."""

    ids: tuple[int, ...]
    languages: tuple[str, ...]
    units: str = "metric"
    zone: str = "UTC"


NOBODY: Final = CustomerFacts((), ())


def member_of(user_id: int) -> MemberFacts | None:
    """Return the membership that holds (the oldest one where there are several), or None."""
    row = Member.objects.filter(user_id=user_id, ended_at=None).select_related("studio", "user").order_by("id").first()
    if row is None:
        return None
    return MemberFacts(id=row.pk, studio=row.studio, role=row.role, name=str(row.user))


def is_member(user_id: int) -> bool:
    """Say whether this user is a member of any studio now."""
    return Member.objects.filter(user_id=user_id, ended_at=None).exists()


def customer_ids_of(user_id: int) -> tuple[int, ...]:
    """Return the ids of the customers that this user is, across studios."""
    return tuple(Customer.objects.filter(user_id=user_id).order_by("id").values_list("id", flat=True))


def customer_of(user_id: int) -> CustomerFacts:
    """Who this user is as a customer, across studios, in one query; `NOBODY` where they are none."""
    kept = Keeper.objects.filter(customer=OuterRef("pk"), end=None, vehicle__retired_on=None).order_by("start", "pk")
    rows = Customer.objects.filter(user_id=user_id).order_by("id").annotate(
        country=Subquery(kept.values("vehicle__site__country")[:1])
    )  # fmt: skip
    told = list(rows.values("id", "language", "studio__language", "units", "country", "zone"))
    spoken = (row[name] for row in told for name in ("language", "studio__language"))
    wished = (row["units"] or of_country(row["country"]) for row in told if row["units"] or row["country"])
    ids, languages = tuple(row["id"] for row in told), tuple(dict.fromkeys(filter(None, spoken)))
    return CustomerFacts(ids, languages, next(wished, "metric"), told[0]["zone"] if told else "UTC")


def _new_user(address: str, name: str) -> User:
    try:
        with transaction.atomic():
            return User.objects.create_user(address, None, name=name)
    except IntegrityError:  # asked for twice at the same moment
        return User.objects.get(email__iexact=address)


@transaction.atomic
def user_for_address(email: str, *, at: datetime) -> User | None:
    """Return the user of a customer's address, made now if nobody has signed in with it before.

    The user gets no password: only a code sent to the address opens the door. A customer who is joined to another
    user already stays so. None: no customer has this address.

    Args:
        email: as typed; case does not matter.
        at: aware time of the request, for the journal.
    """
    address = email.strip().lower()
    customers = list(Customer.objects.filter(email__iexact=address).order_by("id")) if address else []
    if not customers:
        return None
    user = User.objects.filter(email__iexact=address).first()
    if user is None:
        user = _new_user(address, customers[0].name)
    taken = set(Customer.objects.filter(user=user).values_list("studio_id", flat=True))
    for customer in customers:
        # One person is one customer of a studio: a second row there stays apart until the studio sorts it out.
        if customer.user_id is None and customer.studio_id not in taken:
            customer.user = user
            customer.save(update_fields=["user"])
            journal.record(
                studio=customer.studio,
                actor=f"customer:{customer.pk}",
                at=at,
                verb="sign-in opened",
                subject="customer",
                subject_id=customer.pk,
            )
    return user
