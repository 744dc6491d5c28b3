"""Older records brought in from CSV files: what their columns hold (files), and what rows must agree with (rules)."""

from inspections.domain.intake.files import (
    CABLE_EVENTS,
    COUNTS,
    FORMS,
    REEL_TYPES,
    REELS,
    FileForm,
    FileProblem,
    FileRow,
    cells_of,
    is_slug,
    problem,
    read_row,
)
from inspections.domain.intake.rules import (
    ReelFacts,
    SortedRows,
    TypeFacts,
    count_problems,
    event_problems,
    reel_problems,
    sort_out,
    type_problems,
)

__all__ = [
    "CABLE_EVENTS", "COUNTS", "FORMS", "REELS", "REEL_TYPES", "FileForm", "FileProblem", "FileRow", "ReelFacts",
    "SortedRows", "TypeFacts", "cells_of", "count_problems", "event_problems", "is_slug", "problem", "read_row",
    "reel_problems", "sort_out", "type_problems",
]  # fmt: skip
