"""`manage.py fit_layer_rise CODE`: the layer rise of a type by its reels of known cable length. Nothing changes."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inspections.queries.rise import LENGTH_U_M, RiseOffer, rise_offer
from reels.access import reel_type
from reels.errors import Refused
from reels.models import Reel


class Command(BaseCommand):
    help = (
        "Fits the layer rise of a reel type to those of its reels whose cable length is known, and prints what was "
        "found and what would change. Nothing is changed: maintenance control takes it over, or not."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("type", metavar="CODE", help="the reel type")
        parser.add_argument(
            "--length-u-m",
            type=float,
            default=LENGTH_U_M,
            metavar="M",
            help="standard uncertainty of each known length, metres (default %(default)s)",
        )
        parser.add_argument("--core", action="store_true", help="fit the core diameter too")

    def handle(self, *, type: str, length_u_m: float, core: bool, **options: Any) -> None:
        try:
            offer = rise_offer(reel_type(type), Reel.objects.all(), length_u_m=length_u_m, fit_core=core)
        except Refused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write("\n".join(_lines(offer)))


def _lines(offer: RiseOffer) -> list[str]:
    fit, drum = offer.fit, offer.drum
    return [
        f"Reel type {offer.reel_type.code}: {len(offer.known)} cables of known length, each ± {offer.length_u_m:g} m.",
        "",
        "Reel            Count                   Known m    In use m   Offered m",
        *(
            f"{k.reel:<16}{k.layers:>2} layers, {k.wraps:>3} wraps {k.known_m:>11.1f}{k.length_now_m:>12.1f}"
            f"{k.length_offered_m:>12.1f}"
            for k in offer.known
        ),
        *(f"{serial:<16}left out: its first count looks slipped" for serial in offer.left_out),
        "",
        f"Layer rise:     {drum.rise_mm:.3f} mm ± {drum.layer_rise_u_mm:.3f} mm in use, "
        f"{fit.layer_rise_mm:.3f} mm ± {fit.layer_rise_u_mm:.3f} mm offered",
        f"Core diameter:  {drum.core_diameter_mm:.3f} mm ± {drum.diameter_u_mm:.3f} mm in use, "
        f"{fit.core_diameter_mm:.3f} mm ± {fit.core_diameter_u_mm:.3f} mm offered",
        f"Full drum:      {offer.capacity_now_m:.1f} m in use, {offer.capacity_offered_m:.1f} m offered",
        f"Reels that follow the model would fit worse in {100 * fit.chance_of_worse_fit:.1f} % of cases.",
        *offer.advice,
        "Nothing was changed. An administrator takes it over by changing the reel type, over the API with a reason "
        f"(PATCH /api/v1/reel-types/{offer.reel_type.code}).",
    ]
