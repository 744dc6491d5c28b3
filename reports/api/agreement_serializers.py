"""Forms and answers of repeatability."""

from rest_framework import serializers

from inspections.domain.words import Point
from reels.api.fields import Day, Text, Word
from reels.api.forms import Out, Query
from reports.domain.agreement import Comparison, Grouping, Sample


class AgreementQuery(Query):
    compare = Word(
        Comparison, required=False, default=Comparison.METHODS.value,
        help_text="methods: the technician's hand count less the technician's gauge reading; hand, gauge: technician "
        "less verifier.",
    )  # fmt: skip
    site = serializers.CharField(required=False, max_length=30)
    type = serializers.CharField(required=False, max_length=30)
    gauge = serializers.CharField(required=False, max_length=40)
    since = Day(required=False, help_text="Counts done on that day, UTC, or later.")
    until = Day(required=False, help_text="Counts done on that day, UTC, or before.")


class EstimateOut(Out):
    """A figure with its 95 % interval."""

    value = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()


class FiguresOut(Out):
    """Differences in wraps, the first reading less the second; what two pairs are needed for is null with fewer."""

    pairs = serializers.IntegerField(source="share.n")
    equal = serializers.IntegerField(source="share.hits")
    share_equal = EstimateOut(source="share.wilson", allow_null=True)
    bias = EstimateOut(source="differences.bias", allow_null=True)
    sd = serializers.FloatField(source="differences.sd", allow_null=True)
    lower_limit = EstimateOut(source="differences.lower", allow_null=True)
    upper_limit = EstimateOut(source="differences.upper", allow_null=True)
    sample = Word(Sample, source="differences.sample", help_text="How far the limits are to be trusted.")


class HoldPointOut(Out):
    """What technician and verifier keyed first at a hold point."""

    point = Word(Point)
    pairs = serializers.IntegerField(source="share.n")
    the_same = serializers.IntegerField(source="share.hits")
    share_same = EstimateOut(source="share.wilson", allow_null=True)
    kappa = EstimateOut(source="kappa.kappa", allow_null=True, default=None, help_text="Of the face, or the half.")


class GroupOut(Out):
    """One group against all the others of its kind; p-values adjusted for the false discovery rate."""

    group_by = Word(Grouping)
    group = Text()
    figures = FiguresOut()
    adjusted_p_equal = serializers.FloatField(allow_null=True, help_text="null: no result could have stood out.")
    adjusted_p_bias = serializers.FloatField(allow_null=True)
    stands_out = serializers.BooleanField()
    standing = Text()


class UnnamedOut(Out):
    """People who are not named to the reader."""

    group_by = Word(Grouping)
    people = serializers.IntegerField()
    standing_out = serializers.IntegerField()


class AgreementOut(Out):
    compare = Word(Comparison)
    is_cut_off = serializers.BooleanField(help_text="Whether older counts were left out, there being too many.")
    all = FiguresOut()
    points = HoldPointOut(many=True)
    groups = GroupOut(many=True)
    unnamed = UnnamedOut(many=True)
