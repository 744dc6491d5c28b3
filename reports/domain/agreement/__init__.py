"""How well two methods, or two people, agree on the same reels.

pairs      first readings compared two by two         estimates  bias, limits of agreement, repeatability, shares
kappa      agreement on categories beyond chance      groups     which reel type, site, gauge or person differs
report     all of it for the pairs of a comparison    words      the sentences and the file      figure  the plot
"""

from reports.domain.agreement.estimates import Estimate, Sample, Share, differences, repeatability, share
from reports.domain.agreement.pairs import COMPARISON_NAMES, COMPARISON_WORDS, Comparison, Grouping, ReadingPair
from reports.domain.agreement.report import PEOPLE, Agreement, GroupRow, Table, agreement_of, named

__all__ = [
    "COMPARISON_NAMES", "COMPARISON_WORDS", "PEOPLE", "Agreement", "Comparison", "Estimate", "GroupRow", "Grouping",
    "ReadingPair", "Sample", "Share", "Table", "agreement_of", "differences", "named", "repeatability", "share",
]  # fmt: skip
