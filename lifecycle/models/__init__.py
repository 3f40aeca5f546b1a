"""All models, one noun a file."""

from .base import StudioQuerySet, StudioRow
from .care import LIVE_DUE, CareDue, DueState, Refusal
from .climate import ClimateNormal, ClimateService
from .condition import Assessment, Forecast
from .correction import Correction
from .figures import FigureOverride
from .habits import CareEvent, Habits, Storage
from .heartbeat import Heartbeat
from .inspection import Finding, Inspection, Reading, ReadingKind
from .journal import APPEND_ONLY as APPEND_ONLY_TABLES
from .journal import JournalEntry
from .layer import Layer, Product
from .message import FINAL_STATES, Message, MessageState, Receipt
from .offer import Offer, OfferStep, OfferStepKind, Price
from .people import Bay, Complaint, Consent, Customer, Member, Purpose, Role, Site, Studio, Suppression, User
from .reminder import Reminder, ReminderState, Step
from .surface import Mounted, Surface
from .vehicle import ContractTerm, Keeper, Vehicle
from .visit import ProposalState, Visit, VisitProposal, VisitState

__all__ = [
    "APPEND_ONLY_TABLES", "FINAL_STATES", "LIVE_DUE", "Assessment", "Bay", "CareDue", "CareEvent", "ClimateNormal",
    "ClimateService", "Complaint", "Consent", "ContractTerm", "Correction", "Customer", "DueState", "FigureOverride",
    "Finding", "Forecast", "Habits", "Heartbeat", "Inspection", "JournalEntry", "Keeper", "Layer", "Member",
    "Message", "MessageState", "Mounted", "Offer", "OfferStep", "OfferStepKind", "Price", "Product", "ProposalState",
    "Purpose", "Reading", "ReadingKind", "Receipt", "Refusal", "Reminder", "ReminderState", "Role", "Site", "Step",
    "Storage", "Studio", "StudioQuerySet", "StudioRow", "Suppression", "Surface", "User", "Vehicle", "Visit",
    "VisitProposal", "VisitState",
]  # fmt: skip
