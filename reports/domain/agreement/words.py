"""How well readings agree, in words: what a page, a document and a file say alike."""

from collections.abc import Iterator

from reports.domain.agreement.estimates import Estimate, Sample, Share
from reports.domain.agreement.groups import GroupVerdict
from reports.domain.agreement.kappa import Kappa
from reports.domain.agreement.pairs import COMPARISON_WORDS, SIDE_WORDS, Grouping
from reports.domain.agreement.report import PEOPLE, Agreement, GroupRow, Table
from reports.domain.drift_rows import moment

NOTHING = "—"
MAY = (
    "To find what needs a look: a gauge that has worn, a scale that is hard to read, a reel type or a site where a "
    "rule is applied differently.",
    "To decide what to practise, and to see afterwards whether it helped.",
    "To say, with its interval, how far a single count may be off.",
)
MAY_NOT = (
    "To rank, reward or blame people. Nobody chooses the reels they count, and worn ones differ more.",
    "To decide who was right: two readings that differ do not show it.",
    "To judge somebody by a few pairs. Talk to a person who stands out first, and show them the pairs.",
)
HOW = (
    "A pair is what was keyed first in a count's first reading, before anything was read again, by each person under "
    "their own login and without being shown the other's. Left out are counts entered from paper, values that one "
    "person or a script keyed for both, and counts that may still be read.",
    "A gauge reading is taken as it was read, even on the wrong face. A reel's counts belong to the site where it is "
    "kept now. Months are in UTC.",
    "Bias is the mean difference; limits of agreement are 1.96 standard deviations to either side of it; intervals are "
    "95 %. Differences are whole wraps and mostly 0, so that the share of equal pairs says more than the limits do.",
    "Each group is tested against all the others in its table. The more groups, the more stand out by chance: "
    "p-values are adjusted, so that on average at most 5 % of what stands out in a table does so by chance. Groups too "
    "small to stand out whatever they show are left out, and one that stands out does not make the others stand out.",
)
GROUPING_WORDS = {
    Grouping.REEL_TYPE: "Reel type",
    Grouping.GAUGE: "Wrap gauge",
    Grouping.SITE: "Site",
    Grouping.MONTH: "Month",
    Grouping.TECHNICIAN: "Technician",
    Grouping.VERIFIER: "Verifier",
}
SAMPLE_WORDS = {
    Sample.ENOUGH: "enough pairs",
    Sample.SMALL: "small sample: read the interval",
    Sample.TOO_FEW: "too few pairs: conclude nothing",
}


def finding(agreement: Agreement) -> str:
    """What the differences show, in two or three sentences."""
    one, other = SIDE_WORDS[agreement.comparison]
    bias, low, high = agreement.differences.bias, agreement.differences.lower, agreement.differences.upper
    if bias is None or low is None or high is None:
        return f"There are not two pairs of readings yet. {agreement.differences.why}"
    is_level = signed(bias.value) == signed(0)
    way = "level with" if is_level else f"{abs(bias.value):.2f} wraps {'above' if bias.value > 0 else 'below'}"
    trust = (
        ""
        if agreement.differences.sample is Sample.ENOUGH
        else f" {_capital(SAMPLE_WORDS[agreement.differences.sample])}."
    )
    return (
        f"In {agreement.share.n} pairs {one} lies {way} {other} on average (95 % interval {signed(bias.low)} to "
        f"{signed(bias.high)}), and 19 of 20 differences are expected between {signed(low.value)} and "
        f"{signed(high.value)} wraps. Equal: {share_in_words(agreement.share)}.{trust}"
    )


def verdict_in_words(row: GroupRow) -> str:
    """How a group stands beside the rest, in a sentence."""
    by_share, by_bias = row.by_share, row.by_bias
    if by_share.rest is None:
        return "There is no other to compare it with."
    clauses = []
    if by_share.stands_out and by_share.value is not None:
        often = "more often" if by_share.value > by_share.rest else "less often"
        clauses.append(f"equal {often} ({100 * by_share.value:.0f} % against {100 * by_share.rest:.0f} %)")
    if by_bias.stands_out and by_bias.value is not None and by_bias.rest is not None:
        way = "higher" if by_bias.value > by_bias.rest else "lower"
        clauses.append(f"differences {way} ({signed(by_bias.value)} against {signed(by_bias.rest)} wraps)")
    if clauses:
        return f"Stands out: {' and '.join(clauses)} than the rest."
    if GroupVerdict.LIKE_THE_REST in (by_share.verdict, by_bias.verdict):
        return "Like the rest, as far as these pairs tell."
    return "Too few to tell."


def signed(wraps: float) -> str:
    """A difference with its sign, to a hundredth."""
    text = f"{wraps:+.2f}".replace("-", "−")
    return "0.00" if text in ("+0.00", "−0.00") else text


def estimate_in_words(estimate: Estimate | None) -> str:
    """A figure in wraps with its interval: −0.12 (−0.19 to −0.06)."""
    if estimate is None:
        return NOTHING
    return f"{signed(estimate.value)} ({signed(estimate.low)} to {signed(estimate.high)})"


def share_in_words(share: Share) -> str:
    """How many of how many, and the share with its interval: 105 of 120: 88 % (80 to 92 %)."""
    if share.wilson is None:
        return NOTHING
    value, low, high = (100 * each for each in (share.wilson.value, share.wilson.low, share.wilson.high))
    return f"{share.hits} of {share.n}: {value:.0f} % ({low:.0f} to {high:.0f} %)"


def kappa_in_words(kappa: Kappa | None) -> str:
    """Kappa with its interval, or why there is none."""
    if kappa is None or kappa.kappa is None:
        return kappa.why if kappa else NOTHING
    one = kappa.kappa
    return f"{one.value:.2f} ({one.low:.2f} to {one.high:.2f}); {SAMPLE_WORDS[kappa.sample]}".replace("-", "−")


def facts(agreement: Agreement) -> list[tuple[str, str]]:
    """The figures of all pairs, by name."""
    overall = agreement.differences
    rows = [
        ("Pairs", f"{overall.n}"),
        ("Equal (95 % interval)", share_in_words(agreement.share)),
        ("Bias, wraps (95 % interval)", estimate_in_words(overall.bias)),
        ("Upper limit of agreement", estimate_in_words(overall.upper)),
        ("Lower limit of agreement", estimate_in_words(overall.lower)),
        ("Standard deviation", NOTHING if overall.sd is None else f"{overall.sd:.2f} wraps"),
    ]
    if agreement.repeatability and agreement.repeatability.coefficient:
        far = agreement.repeatability.coefficient
        rows.append(
            ("Two people lie this close, 19 times of 20", f"{far.value:.2f} wraps ({far.low:.2f} to {far.high:.2f})")
        )
    return [*rows, ("Sample size", f"{_capital(SAMPLE_WORDS[overall.sample])}. {overall.why}")]


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]


def limits_in_words(row: GroupRow | Agreement) -> str:
    """From the lower to the upper limit of agreement."""
    lower, upper = row.differences.lower, row.differences.upper
    return f"{signed(lower.value)} to {signed(upper.value)}" if lower and upper else NOTHING


def unnamed_in_words(table: Table) -> str:
    """What is said of people who are not named; nothing when there is none."""
    if table.grouping not in PEOPLE or not table.unnamed:
        return ""
    people = "1 person is" if table.unnamed == 1 else f"{table.unnamed} people are"
    out = table.unnamed_standing_out or "none"
    return (
        f"{people} not shown: people are named to whoever verifies counts where theirs were made, and to themselves. "
        f"Of those not shown, {out} {'stands' if table.unnamed_standing_out == 1 else 'stand'} out."
    )


# A file ---------------------------------------------------------------------------------------------------------------

COLUMNS = (
    "comparison", "group_by", "group", "pairs", "equal", "share_equal", "share_low", "share_high", "bias", "bias_low",
    "bias_high", "sd", "lower", "lower_low", "lower_high", "upper", "upper_low", "upper_high", "sample",
    "adjusted_p_equal", "adjusted_p_bias", "standing",
)  # fmt: skip
PAIR_COLUMNS = ("inspection", "done_at", "reel", "reel_type", "site", "wrap_gauge", "first", "second", "difference")


def figures_as_written(agreement: Agreement) -> Iterator[list[str]]:
    """A line for all pairs and one for each group that is named, in the order of COLUMNS."""
    comparison = COMPARISON_WORDS[agreement.comparison]
    yield [comparison, "all", "", *_figures(agreement), "", "", ""]
    for table in agreement.tables:
        for row in table.rows:
            p_values = [_number(row.by_share.adjusted_p), _number(row.by_bias.adjusted_p)]
            yield [comparison, table.grouping.value, row.name, *_figures(row), *p_values, verdict_in_words(row)]


def pairs_as_written(agreement: Agreement) -> Iterator[list[str]]:
    """A line for each pair, the newest first, without people, in the order of PAIR_COLUMNS."""
    for pair in agreement.pairs:
        count = pair.source
        yield [str(count.inspection), moment(count.done_at), count.reel, count.reel_type, count.site, count.gauge,
               str(pair.first), str(pair.second), str(pair.difference)]  # fmt: skip


def _figures(row: GroupRow | Agreement) -> list[str]:
    share, differences = row.share, row.differences
    estimates = [share.wilson, differences.bias, differences.lower, differences.upper]
    numbers = [[_number(x) for x in (each.value, each.low, each.high)] if each else [""] * 3 for each in estimates]
    equal, bias, lower, upper = numbers
    return [
        str(share.n),
        str(share.hits),
        *equal,
        *bias,
        _number(differences.sd),
        *lower,
        *upper,
        differences.sample.value,
    ]


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:.4f}"
