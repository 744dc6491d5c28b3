"""The shape of what is kept about people, sites, reel types, machines and reels, and their histories."""

from reels.models.assemblies import CableEvent, Hold, Installation, MachineHold, Move, Reel, ReelEvent
from reels.models.base import Added, Kept, choices, columns
from reels.models.histories import (
    Chain,
    CheckpointMade,
    Countersignature,
    EndsNode,
    EntriesBlock,
    FeedPlace,
    HistoryEntry,
    Witness,
)
from reels.models.logins import Alarm, LoginLink, RecoveryCode, SecondFactor, Tries
from reels.models.people import ApiToken, Person, Posting, Submission
from reels.models.register import (
    GaugeCalibration,
    GaugeType,
    Machine,
    Publication,
    PublicationType,
    ReelType,
    SetUpList,
    Site,
    WrapGauge,
)
from reels.models.tasks import TaskFile, TaskRun, Upload, WorkerSeen

__all__ = [
    "Added",
    "Alarm",
    "ApiToken",
    "CableEvent",
    "Chain",
    "CheckpointMade",
    "Countersignature",
    "EndsNode",
    "EntriesBlock",
    "FeedPlace",
    "GaugeCalibration",
    "GaugeType",
    "HistoryEntry",
    "Hold",
    "Installation",
    "Kept",
    "LoginLink",
    "Machine",
    "MachineHold",
    "Move",
    "Person",
    "Posting",
    "Publication",
    "PublicationType",
    "RecoveryCode",
    "Reel",
    "ReelEvent",
    "ReelType",
    "SecondFactor",
    "SetUpList",
    "Site",
    "Submission",
    "TaskFile",
    "TaskRun",
    "Tries",
    "Upload",
    "Witness",
    "WorkerSeen",
    "WrapGauge",
    "choices",
    "columns",
]
