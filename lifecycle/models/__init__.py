"""All models, one noun a file."""

from .api import ApiToken
from .base import StudioQuerySet
from .base import StudioRow
from .base import Withdrawable
from .care import CareDue
from .care import DueState
from .care import LIVE_DUE
from .care import Refusal
from .check import ForecastCheck
from .check import ReminderTrial
from .climate import ClimateNormal
from .climate import ClimateService
from .condition import Assessment
from .condition import Forecast
from .correction import ConsentBy
from .correction import ConsentWay
from .correction import Correction
from .correction import CorrectionConsent
from .correction import CorrectionPanel
from .correction import CorrectionPlan
from .correction import CorrectionSignature
from .correction import GUARDED as GUARDED_CORRECTIONS
from .document import Document
from .document import DocumentKind
from .door import SignInKey
from .doubt import ReadingDoubt
from .figures import FigureOverride
from .habits import CareEvent
from .habits import Habits
from .habits import Storage
from .heartbeat import Heartbeat
from .inspection import Finding
from .inspection import FindingKind
from .inspection import Gauge
from .inspection import Inspection
from .inspection import InspectionKind
from .inspection import Photo
from .inspection import Reading
from .inspection import ReadingKind
from .journal import APPEND_ONLY as APPEND_ONLY_TABLES
from .journal import JournalEntry
from .layer import Layer
from .layer import LayerPackage
from .layer import PackageItem
from .layer import Product
from .learned import LearnedLife
from .message import EarlyReceipt
from .message import FINAL_STATES
from .message import Message
from .message import MessageState
from .message import Receipt
from .offer import Offer
from .offer import OfferStep
from .offer import OfferStepKind
from .offer import Price
from .opening import Closure
from .opening import Hands
from .opening import OpeningHours
from .outlook import OutlookRow
from .outlook import OutlookSheet
from .people import Bay
from .people import Complaint
from .people import Consent
from .people import Customer
from .people import Member
from .people import Purpose
from .people import Role
from .people import Site
from .people import Studio
from .people import Suppression
from .people import User
from .reminder import Reminder
from .reminder import ReminderState
from .reminder import Step
from .report import GUARDED as GUARDED_REPORTS
from .report import Report
from .report import ReportKind
from .report import ReportParty
from .surface import Mounted
from .surface import Surface
from .vehicle import ContractRule
from .vehicle import ContractTerm
from .vehicle import Keeper
from .vehicle import Vehicle
from .visit import CalendarFeed
from .visit import OPEN_VISITS
from .visit import PartOfDay
from .visit import ProposalState
from .visit import REQUESTS
from .visit import Visit
from .visit import VisitProposal
from .visit import VisitState

__all__ = [
    "APPEND_ONLY_TABLES", "FINAL_STATES", "GUARDED_CORRECTIONS", "GUARDED_REPORTS", "LIVE_DUE", "OPEN_VISITS",
    "REQUESTS", "ApiToken", "Assessment", "Bay", "CalendarFeed", "CareDue", "CareEvent", "ClimateNormal",
    "ClimateService", "Closure", "Complaint", "Consent", "ConsentBy", "ConsentWay", "ContractRule", "ContractTerm",
    "Correction", "CorrectionConsent", "CorrectionPanel", "CorrectionPlan", "CorrectionSignature", "Customer",
    "Document", "DocumentKind", "DueState", "EarlyReceipt", "FigureOverride", "Finding", "FindingKind", "Forecast",
    "ForecastCheck", "Gauge", "Habits", "Hands", "Heartbeat", "Inspection", "InspectionKind", "JournalEntry", "Keeper",
    "Layer", "LayerPackage", "LearnedLife", "MailTrial", "MailWording", "Member", "Message", "MessageState", "Mounted",
    "Offer", "OfferStep", "OfferStepKind", "OpeningHours", "OutlookRow", "OutlookSheet", "PackageItem", "PartOfDay",
    "Photo", "Price", "Product", "ProposalState", "Purpose", "Reading", "ReadingDoubt", "ReadingKind", "Receipt",
    "Refusal", "Reminder", "ReminderState", "ReminderTrial", "Report", "ReportKind", "ReportParty", "Role", "SignInKey",
    "Site", "Step", "Storage", "Studio", "StudioQuerySet", "StudioRow", "Suppression", "Surface", "User", "Vehicle",
    "Visit", "VisitProposal", "VisitState", "Withdrawable",
]  # fmt: skip
