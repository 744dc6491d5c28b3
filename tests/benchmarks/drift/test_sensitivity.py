"""What is changed is what was named, for as long as it was asked for."""

from dataclasses import replace

import pytest

from inspections.domain.drift import kernels
from inspections.domain.drift.fixed import FIXED
from tests.benchmarks.drift import sensitivity


def test_each_kind_of_parameter_is_halved_and_doubled_as_itself() -> None:
    assert (sensitivity.changed(4, 0.5), sensitivity.changed(1, 0.5), sensitivity.changed(0.3, 2.0)) == (2, 1, 0.6)
    assert sensitivity.changed((0.4, 0.3, 0.3), 0.5) == pytest.approx((0.25, 0.375, 0.375))
    ((off, weight), (other, rest)) = sensitivity.changed(((-1, 0.5), (1, 0.5)), 2.0)
    assert (off, other, weight, rest) == pytest.approx((-1, 1, 2 / 3, 1 / 3))


def test_the_package_works_with_changed_parameters_and_then_with_its_own_again() -> None:
    other = replace(FIXED, near_days=1.0)
    with sensitivity.with_fixed(other):
        assert vars(kernels)["FIXED"] is other
    assert vars(kernels)["FIXED"] is FIXED


def test_a_parameter_that_matters_moves_beliefs_and_one_of_words_moves_none() -> None:
    moved = list(sensitivity.sensitivity(3, (5, 7), ["prior_slip_counts", "worth_saying"]))
    assert [(each.name, each.factor) for each in moved] == [
        (name, factor) for name in ("prior_slip_counts", "worth_saying") for factor in (0.5, 2.0)
    ]
    assert min(each.largest for each in moved[:2]) > 1e-8
    assert [(each.loss_ratio, each.largest) for each in moved[2:]] == [(1.0, 0.0)] * 2


def test_a_name_that_is_none_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        sensitivity.main(["nearness"])
    assert "nearness: no such parameter; allowed: one_wrap, " in capsys.readouterr().err
