"""The shape of what is kept about authorisations, inspections, sign-offs and setup values."""

from inspections.models.authority import Authorisation
from inspections.models.counts import (
    Draft,
    GaugeUse,
    Inspection,
    InspectionRecord,
    Keying,
    Participant,
    Photo,
    Reading,
    Referral,
    SignOff,
    ThirdReading,
    Void,
)
from inspections.models.drift import AcceptedOutlier, DriftFlag, ImportedCount, LearnedRates
from inspections.models.findings import Finding, FindingKind, FindingPhoto
from inspections.models.intake import SheetMapping
from inspections.models.practice import Exercise, ExerciseResult, ReadinessAsked
from inspections.models.safety_notices import NoticedReel, SafetyNotice
from inspections.models.setup import MachineCheck, ReadBack, SetupValues
from inspections.models.status import FindingNumber, FlaggedReel, ReelNumber, ReelStatusRow

__all__ = [
    "AcceptedOutlier",
    "Authorisation",
    "Draft",
    "DriftFlag",
    "Exercise",
    "ExerciseResult",
    "Finding",
    "FindingKind",
    "FindingNumber",
    "FindingPhoto",
    "FlaggedReel",
    "GaugeUse",
    "ImportedCount",
    "Inspection",
    "InspectionRecord",
    "Keying",
    "LearnedRates",
    "MachineCheck",
    "NoticedReel",
    "Participant",
    "Photo",
    "ReadBack",
    "ReadinessAsked",
    "Reading",
    "ReelNumber",
    "ReelStatusRow",
    "Referral",
    "SafetyNotice",
    "SetupValues",
    "SheetMapping",
    "SignOff",
    "ThirdReading",
    "Void",
]
