"""All models, one noun a file."""

from .api import ApiAnswer, ApiToken
from .base import StudioQuerySet, StudioRow, Withdrawable
from .care import LIVE_DUE, CareDue, DueState, Refusal
from .care_record import GUARDED as GUARDED_CARE_RECORDS
from .care_record import CareRecord, RecordLink
from .check import ForecastCheck, ReminderTrial
from .climate import ClimateNormal, ClimateService
from .condition import Assessment, Forecast
from .correction import GUARDED as GUARDED_CORRECTIONS
from .correction import (
    ConsentBy,
    ConsentWay,
    Correction,
    CorrectionConsent,
    CorrectionPanel,
    CorrectionPlan,
    CorrectionSignature,
)
from .document import Document, DocumentKind
from .door import SignInKey
from .doubt import ReadingDoubt
from .figures import FigureOverride
from .habits import CareEvent, Habits, Storage
from .handover import Handover, HandoverState
from .heartbeat import Heartbeat
from .hook import Hook, HookCursor, HookDelivery, HookState
from .imports import (
    WAITING_IMPORTS,
    WORKING_IMPORTS,
    ImportFile,
    ImportKey,
    ImportKind,
    ImportMade,
    ImportMapping,
    ImportRow,
    ImportState,
    Verdict,
)
from .inspection import Finding, FindingKind, Gauge, Inspection, InspectionKind, Photo, Reading, ReadingKind
from .journal import APPEND_ONLY as APPEND_ONLY_TABLES
from .journal import JournalEntry
from .layer import Layer, LayerPackage, PackageItem, Product
from .learned import LearnedLife
from .letter import LetterState, OwnerLetter
from .message import FINAL_STATES, EarlyReceipt, Message, MessageState, Receipt
from .offer import Offer, OfferStep, OfferStepKind, Price
from .opening import Closure, Hands, OpeningHours
from .outlook import CustomerOutlook, OutlookRow, OutlookSheet
from .people import Bay, Complaint, Consent, Customer, Member, Purpose, Role, Site, Studio, Suppression, User
from .reminder import Reminder, ReminderState, Step
from .report import GUARDED as GUARDED_REPORTS
from .report import Report, ReportKind, ReportParty
from .surface import Mounted, Surface
from .vehicle import ContractRule, ContractTerm, Keeper, Vehicle
from .visit import (
    OPEN_VISITS,
    REQUESTS,
    CalendarFeed,
    PartOfDay,
    ProposalState,
    Visit,
    VisitProposal,
    VisitState,
)
from .wording import MailTrial, MailWording
from .wording import WordsApproval as WordsApproval

__all__ = [
    "APPEND_ONLY_TABLES", "FINAL_STATES", "GUARDED_CARE_RECORDS", "GUARDED_CORRECTIONS", "GUARDED_REPORTS",
    "LIVE_DUE", "OPEN_VISITS", "REQUESTS", "WAITING_IMPORTS", "WORKING_IMPORTS", "ApiAnswer", "ApiToken",
    "Assessment", "Bay", "CalendarFeed", "CareDue", "CareEvent", "CareRecord", "ClimateNormal", "ClimateService",
    "Closure", "Complaint", "Consent", "ConsentBy", "ConsentWay", "ContractRule", "ContractTerm", "Correction",
    "CorrectionConsent", "CorrectionPanel", "CorrectionPlan", "CorrectionSignature", "Customer", "CustomerOutlook",
    "Document", "DocumentKind", "DueState", "EarlyReceipt", "FigureOverride", "Finding", "FindingKind", "Forecast",
    "ForecastCheck", "Gauge", "Habits", "Handover", "HandoverState", "Hands", "Heartbeat", "Hook", "HookCursor",
    "HookDelivery", "HookState", "ImportFile", "ImportKey", "ImportKind", "ImportMade", "ImportMapping",
    "ImportRow", "ImportState", "Inspection", "InspectionKind", "JournalEntry", "Keeper", "Layer", "LayerPackage",
    "LearnedLife", "LetterState", "MailTrial", "MailWording", "Member", "Message", "MessageState", "Mounted",
    "Offer", "OfferStep", "OfferStepKind", "OpeningHours", "OutlookRow", "OutlookSheet", "OwnerLetter",
    "PackageItem", "PartOfDay", "Photo", "Price", "Product", "ProposalState", "Purpose", "Reading", "ReadingDoubt",
    "ReadingKind", "Receipt", "RecordLink", "Refusal", "Reminder", "ReminderState", "ReminderTrial", "Report",
    "ReportKind", "ReportParty", "Role", "SignInKey", "Site", "Step", "Storage", "Studio", "StudioQuerySet",
    "StudioRow", "Suppression", "Surface", "User", "Vehicle", "Verdict", "Visit", "VisitProposal", "VisitState",
    "Withdrawable",
]  # fmt: skip
