"""Unlogged cuts: a hidden Markov model of the cable on a reel's drum, exactly inferred, learned from the fleet.

A slip reverts at the next count; a cut stays. So a single difference proves little and the sequence proves a lot.

**Symbols.** For the counts t = 1 … T of one reel between two replacements of its cable (a *count sequence*):

    x_t     hidden: length of cable on the drum at count t, m; on a grid of cells, with a log state (batch)
    τ(x)    the same in turns, by the winding model
    y_t     the count: layers and wraps, as whole turns
    Δ_t     years from count t to count t + 1
    u_t     length cut in interval t and not logged, m; 0 if nothing was
    v_t     length cut in interval t and logged, m;  ℓ the length in the log
    g_t     growth of new cable in interval t, m
    σ       hidden: looseness, the spread of this reel's counts on a half-full drum, wraps (looseness)
    θ       the fleet's parameters (DriftParameters), among them a, b, γ, π

**Model.**

    x_t+1 = x_t − u_t − v_t + g_t                 replacement: a new sequence, x_1 anywhere or near the length received
    or, with probability ρ,  x_t+1 ~ a new cable       nobody logged a replacement: most often more than half a drum
    P(u_t > 0) = q_t = 1 − exp(−a − b Δ_t)          u_t given a cut ~ size_shares, log-uniform within a class
    v_t ~ ℓ + N(0, s0² + (s1 ℓ)²), or 0, or another length, the rather the less usual ℓ is             (kernels)
    an entry's cut is made in its interval, or in one on the wrong side of a count close by         (log_states)
    g_t ~ about stretch_share · length · (fall of exp(−age / stretch_days) over the interval)              (kernels)
    p(y_t | x_t, σ) = Σ over slips of π_slip · p(y_t | slip, x_t, σ)                                      (likelihood)
    without a slip: Φ((y + ½ − τ(x)) / s) − Φ((y − ½ − τ(x)) / s),   s = σ (y / half-full)^γ
    σ ~ looseness_shares, the same for all of a reel's sequences

**Answers.** Forward–backward for each σ tried (hidden_markov, smoother), then the mean over p(σ | y):

    p_unlogged_cut   P(u_t > 0 | y_1 … y_T)         cut_m, cut_low_m, cut_high_m: quantiles of u_t given a cut
    p_when_counted   P(u_t > 0 and not still to be logged | y_1 … y_t+1 and the log as it was known then)
    p_slip           P(y_t came about by a slip | y_1 … y_T)

**Learned.** θ, by expectation–maximisation with priors (learning, e_step, m_step). Flags: as many as keep the expected
share of false ones below a bound (choose_flags).

**Sources.** Rabiner (1989), scaled forward and backward recursions; Viterbi (1967); Dempster, Laird and Rubin (1977),
EM; Newton et al. (2004), Bayesian false discovery rate; Lindley (1956), worth of an observation. How well it does is
measured in deploy/handbook/decisions/0011-drift-inference.md. Pure: the caller hands over the rows that were known on
the day that it asks about.

    records     what goes in and what comes out      parameters     θ, and what it means in words
    fixed       every constant, and why     hidden_markov  the recursions, with nothing of reels in them
    geometry    drum tables, windows of lengths      looseness      σ: which values are likely
    sequence    a history laid out for inference     likelihood     p(y | x, σ), slips among it
    log_states  entries out of their place           batch_log        the same, of rows side by side
    kernels     moves by cuts, log and stretch       batch          sequences side by side, one step
    smoother    forward and backward pass            posteriors     slips and log entries read off them
    fleet       reels and fleets put together        learning       rounds of e_step and m_step
    rule_changes  counts of all reels that shift at once     habits  counts that shift with who made them
    newest      the newest count: is it plausible?   explanations   what explains a difference
    words       the sentences                        flags          which intervals are flagged
    simulation  a fleet like a given one             self_check     what to expect on a fleet
"""

from inspections.domain.drift.flags import choose_flags
from inspections.domain.drift.fleet import assess, assess_fleet
from inspections.domain.drift.learning import learn
from inspections.domain.drift.newest import most_probable_course, plausibility, recount
from inspections.domain.drift.parameters import DEFAULT_PARAMETERS, DriftParameters, fleet_findings, in_words
from inspections.domain.drift.records import (
    ClosedFlag,
    CountPosterior,
    CountSeen,
    CutLogged,
    Ending,
    IntervalPosterior,
    Plausibility,
    Recount,
    ReelAssessment,
    ReelHistory,
    Slip,
)
from inspections.domain.drift.self_check import SelfCheck, check_in_words, self_check
from inspections.domain.drift.words import BY_GENERAL_RATES, explain, plausibility_in_words

__all__ = [
    "BY_GENERAL_RATES", "DEFAULT_PARAMETERS", "ClosedFlag", "CountPosterior", "CountSeen", "CutLogged",
    "DriftParameters", "Ending", "IntervalPosterior", "Plausibility", "Recount", "ReelAssessment", "ReelHistory",
    "SelfCheck", "Slip", "assess", "assess_fleet", "check_in_words", "choose_flags", "explain", "fleet_findings",
    "in_words", "learn", "most_probable_course", "plausibility", "plausibility_in_words", "recount", "self_check",
]  # fmt: skip
