"""The shape of what is kept about authorisations, inspections, sign-offs and setup values."""

from inspections.models.authority import Authorisation
from inspections.models.base import Added
from inspections.models.counts import (
    Inspection,
    InspectionRecord,
    Keying,
    Participant,
    Reading,
    Referral,
    SignOff,
    Void,
)
from inspections.models.drafts import Draft
from inspections.models.drift import AcceptedOutlier, DriftFlag, ImportedCount, LearnedRates
from inspections.models.photos import Photo
from inspections.models.practice import Exercise, ReadinessAsked
from inspections.models.setup import MachineCheck, ReadBack, SetupValues

__all__ = [
    "AcceptedOutlier",
    "Added",
    "Authorisation",
    "Draft",
    "DriftFlag",
    "Exercise",
    "ImportedCount",
    "Inspection",
    "InspectionRecord",
    "Keying",
    "LearnedRates",
    "MachineCheck",
    "Participant",
    "Photo",
    "ReadBack",
    "ReadinessAsked",
    "Reading",
    "Referral",
    "SetupValues",
    "SignOff",
    "Void",
]
