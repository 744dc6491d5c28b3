"""What passwords may not be, besides short, common, or like their owner's name."""

import re

from django.conf import settings
from django.core.exceptions import ValidationError

OUR_WORDS = ("wrapledger", "password", "maintenance", "administrator", "technician", "verifier")
LEAST_BESIDES = 6  # characters


class NotOurWords:
    """Words that whoever attacks this service tries first make no password; the rest has to be long enough."""

    def validate(self, password: str, user: object = None) -> None:
        """Raises ValidationError when little is left without them."""
        left = re.sub("|".join(map(re.escape, self.words())), "", password.lower())
        if len(left) < LEAST_BESIDES:
            raise ValidationError(self.get_help_text(), code="our_words")

    def words(self) -> list[str]:
        """The words: the house's own, and those of the service's name."""
        return [*OUR_WORDS, *re.findall(r"\w{4,}", settings.SERVICE_NAME.lower())]

    def get_help_text(self) -> str:
        """What is asked for."""
        return "The password is made of words that everybody would try here."
