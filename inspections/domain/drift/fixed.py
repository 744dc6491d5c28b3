"""What the drift model takes as fixed: every constant of it, with its meaning, unit and reason.

θ (DriftParameters) is learned from a fleet; these are not. They are common practice (no published source) where nothing
else is said, and were chosen on simulated fleets of other seeds than those of the study and the judge. What moves when
each is halved or doubled is printed by `python -m tests.benchmarks.drift.sensitivity`; a first run, over sixteen of
them, is in deploy/handbook/measurements.md. Not here: grids (parameters, geometry, likelihood) and how much is worked
on at once (batch, fleet, learning), which trade time for digits.
"""

from dataclasses import dataclass

Weights = tuple[tuple[int, float], ...]  # what undoes a slip, to be added to the written number, and its weight w


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameters:
    """The fixed parameters; each comment is about the line or lines below it."""

    # --- How a count comes about (sequence, likelihood, looseness) ---
    # Hypotheses of each slip, summing to one: a wrap, a correction (a forgotten one leaves the count too high, one made
    # twice too low; lead: as many wraps as the type's lead), layers. What was subtracted from the wrong face's number:
    # nothing, the lead with or without the crossover's wrap, has to come off once more.
    one_wrap: Weights = ((-1, 0.5), (1, 0.5))
    correction_wrap: Weights = ((-1, 0.3), (1, 0.25))
    correction_lead: Weights = ((-1, 0.15), (1, 0.15))
    correction_both: float = 0.15
    scale_layers: Weights = ((-1, 0.33), (1, 0.33), (-2, 0.17), (2, 0.17))
    wrong_face: tuple[float, float, float] = (0.4, 0.3, 0.3)
    # Wraps by which "a few wraps off" falls to 1/e. Half of it is hardly told from one wrap off, twice from anything.
    nearby_wraps: float = 3.0
    # Fullness, turns over those of a half-full drum, beyond which looseness changes no more.
    least_fullness: float = 0.05
    most_fullness: float = 4.0
    # A cell stands for a range of lengths: spread, in cells, that keeps a fine reading on a coarse grid honest.
    in_cell: float = 0.25

    # --- What happens to the cable (kernels, batch) ---
    # A wrong length is so many times the true one, in these shares of cases: a decimal point off by a place, feet for
    # metres or the other way round, half of it or twice it; or lies about the true one by this spread of its logarithm;
    # or, in the rest of cases, is that of any cut. Without the factors a length that is ten times too short is taken
    # for what it says, and the rest of the drop for a cut that nobody logged.
    wrong_factors: tuple[tuple[float, float], ...] = (
        (0.1, 0.12), (10.0, 0.12), (0.3048, 0.12), (1 / 0.3048, 0.12), (0.5, 0.12), (2.0, 0.12),
    )  # fmt: skip
    wrong_log_sd: float = 0.7
    wrong_about: float = 0.2
    # Share of logged cuts that may be of any length, whatever the fleet's usual ones are: what keeps a cut that is
    # shorter or longer than all others from being taken for a wrong entry for certain.
    unusual_logged: float = 0.02
    # Metres; lengths are known no better: a narrower kernel would be a spike between two cells.
    least_sd_m: float = 0.02
    # Days by which a date on the wrong side of a count lies beyond it, on the mean: near ones, and a share of far ones,
    # where dates are wrong for other reasons than being written up late. Half of near, and a cut dated in the week
    # after its count is no longer found; twice, and routine cuts in the week of a count are in doubt.
    near_days: float = 5.0
    far_days: float = 60.0
    misdated_far: float = 0.1
    # Days taken for the interval before the first count, and after the last.
    open_interval_days: float = 60.0
    # Dated to the count's own moment, nothing says which came first: at least these odds. All that is out of place is
    # no likelier than so; and odds less than least are not followed.
    misdated_at_count: float = 0.25
    most_misdated: float = 0.8
    least_misdated: float = 5e-3
    # Entries followed that may be out of place at the same count; more are taken as they are dated.
    entries_out_of_place: int = 4
    # Entries recorded late are so by so many days on the mean; all others within so many days. Which of them are late
    # is counted from so many days on.
    late_days: float = 45.0
    late_from_days: float = 1.0
    prompt_days: float = 0.5
    # Spread of the growth of new cable, over its mean; a mean of fewer cells is left out, for it moves nothing.
    stretch_sd: float = 0.5
    least_stretch_cells: float = 0.03
    # At the first count the cable is near the length at receipt, if that is known and right, which is so in seven of
    # ten; else anywhere on the drum. Metres: lengths at receipt are seldom measured to better than that.
    received_trust: float = 0.7
    anywhere: float = 0.3
    least_received_sd_m: float = 1.0
    # A new cable fills at least so much of the drum, in so many of the cases.
    new_is_fuller: float = 0.5
    new_is_full: float = 0.9
    # What a closed flag does to the odds of an unlogged cut: somebody went and looked, and is right in all but one of a
    # hundred cases. A cut logged late stands in the log, so that no other one is likely.
    ending_against: float = 0.01
    ending_for: float = 100.0
    # A second entry of the same cut: of equal length within this share and so many metres, at most so many days later.
    # Longer, and two like cuts of routine work would be taken for one.
    twin_share: float = 0.005
    twin_m: float = 0.005
    twin_days: float = 45.0
    # No counts, however clear, overrule these bounds of q.
    least_p_cut: float = 1e-6
    most_p_cut: float = 0.9

    # --- Where to look (geometry, looseness) ---
    # Counts on either side that say which lengths are open at a count. Half of it, and a few slips in a row may shut
    # the truth out of the window; twice of it, and the windows widen with whatever was cut in a longer time.
    neighbours: int = 4
    # Metres. A low further below the lowest count so far, which later counts contradict, is never taken for a cut:
    # nobody loses so much at once and counts it again. Were it smaller, long true cuts would fall outside the window.
    longest_undone_m: float = 150.0
    # Cells of so many spreads, but never finer (wraps) than rounding to whole wraps can show, nor coarser.
    cell_spreads: float = 0.8
    least_cell_wraps: float = 0.22
    most_cell_wraps: float = 1.2
    # Beyond the counts, wraps: slips of a few wraps, and spreads.
    margin_wraps: float = 6.0
    margin_spreads: float = 5.0
    # A quick look at a reel's looseness: differences of neighbours are looseness, a cut, or, in this share, anything
    # within so many wraps. Were cuts left out, a reel that lost some would be taken for a loose one. Neighbouring
    # differences share a count, which is why each counts for less than one. Spread of a rounding, 1/√12 wraps, and
    # with a logged cut, which is some tenths of a wrap off besides.
    # Of differences a share is one wrap off by a slip: without it a tight reel with one is taken for a loose one.
    quick_one_wrap: float = 0.05
    quick_anything: float = 0.05
    quick_wraps: float = 60.0
    quick_weight: float = 0.7
    quick_rounding: float = 0.28
    quick_logged: float = 0.5
    # A reel counted so often shows its looseness well, and the values tried lie side by side; else every other one.
    # With a single one tried probabilities come out too sure, and the time goes with their number.
    looseness_tried: int = 3
    counts_that_show_it: int = 25
    least_grid_share: float = 1e-4

    # --- What priors are worth, in what they stand for (m_step) ---
    # Halved, fleets of a few reels follow their own chance sooner; doubled, a fleet that differs from the usual needs
    # twice as many to say so. Slips are rare: fewer counts would make a rate of the first one.
    prior_slip_counts: float = 100.0
    prior_cut_intervals: float = 30.0
    prior_replaced_intervals: float = 300.0
    prior_size_cuts: float = 4.0
    prior_reels: float = 3.0
    prior_entries: float = 20.0
    prior_twins: float = 4.0
    prior_power_sd: float = 0.5  # of γ about its default: from no influence of fullness to more than in proportion
    # Sizes of cuts as found lean, with the weight of so many cuts, on a smooth law, for classes that are too short to
    # be seen would else keep what they were given: a lognormal of their own, that of the logged cuts (a guess that is
    # worth so many, in proportion less with fewer logged than enough), and the prior's.
    size_lean_cuts: float = 30.0
    like_logged_cuts: float = 8.0
    enough_logged: float = 10.0
    prior_lean: float = 0.2
    # Of logged lengths half stand as they are when there are so many cuts, and half are no lognormal.
    as_found_cuts: float = 150.0
    no_lognormal_cuts: float = 60.0
    # Spread of a lognormal of cut lengths, and how many cuts it is worth; and no less than that.
    usual_size_log_sd: float = 0.6
    usual_size_cuts: float = 4.0
    least_size_log_sd: float = 0.15
    # Looseness leans, with the weight of so many reels, on a lognormal of the same mean and spread, and no narrower.
    looseness_lean_reels: float = 6.0
    least_looseness_log_sd: float = 0.2
    # A step of γ is made longer: residuals judged under the γ before hold the aim back.
    overshoot: float = 1.5
    # A reel's sequences after a replacement say less of looseness: the reel has spoken of it already.
    later_sequence: float = 0.3

    # --- How long to learn (learning) ---
    most_rounds: int = 16
    more_rounds: int = 7  # of those that begin near the right θ
    layout_round: int = 4  # after which sequences are laid out again, once: by then looseness is about right
    mixture_rounds: int = 30  # of the small EM within: enough for its weights to settle
    close_enough: float = 2e-5  # nats a count gained by a round, below which the rounds end
    # Growth of new cable is looked for by these shares of its length in turn, in sequences whose first count was made
    # within so many days, and must gain so many nats, odds of twenty: one that is not there would hide cuts.
    stretch_shares: tuple[float, ...] = (0.001, 0.0014, 0.002, 0.0028, 0.004, 0.0056, 0.008)
    stretch_seen_days: float = 365.0
    stretch_must_gain: float = 3.0

    # A changed rule, of all counts: pairs of neighbouring counts that it must lie between, and nats that it must gain
    # over what any moment would by chance, odds of a thousand: rules seldom change unsaid. A revision is known to be
    # another rule, so that odds of twenty will do.
    rule_least_pairs: int = 8
    rule_must_gain: float = 7.0
    rule_worth_a_look: float = 2.0  # nats gained by single pairs, from which on the whole inference is asked
    revision_least_pairs: int = 4
    revision_must_gain: float = 3.0

    # People's habits: pairs of counts each way (others before, others after) and reels, from which on a habit is told
    # from the cable; nats that it must gain, odds of twenty. Of people so many have none, or one of so many wraps; what
    # is no whole wrap spreads by so many; both are worth so many people. A smaller one is left out: most are whole.
    habit_least_pairs: int = 5
    habit_least_reels: int = 3
    habit_must_gain: float = 3.0
    habit_rounds: int = 6
    least_habit_wraps: float = 0.25
    habit_shares: tuple[float, ...] = (0.02, 0.08, 0.8, 0.08, 0.02)
    habit_sd_wraps: float = 0.1
    prior_people: float = 5.0
    to_95: float = 1.645  # standard deviations from the middle of a normal to its 5 and 95 %

    # --- What is answered (fleet, newest, words) ---
    # Counts that a cut recorded late is followed over, and that are taken in before it: after so many the answer of the
    # day has hardly anything left of the gap in the log; twice as many double the work of a log kept late.
    late_counts: int = 12
    least_slip: float = 0.01  # a slip less probable has no kind that is worth a word
    least_cut_alone: float = 1e-3  # a cut that explains a count less often has no length that is worth a word
    # Lengths less probable are not looked at for the most probable course, whose time goes with their number squared.
    least_of_a_course: float = 1e-9
    likely: float = 0.5  # what a sentence takes for so
    settled: float = 0.99  # a loss that is believed so much is not asked to be counted again
    worth_saying: float = 0.05  # what it still names as possible
    usual_spreads: float = 3.0  # beyond so many standard deviations nothing is called usual: one pair in 370 is


FIXED = Parameters()
