"""`manage.py changepassword`, the framework's, refused: a password is an act of its owner or of an administrator."""

from reels.management.refused import RefusedCommand


class Command(RefusedCommand):
    help = "Refused: passwords are changed under “Your login”, and given by administrators."
    instead = (
        "Its owner changes a password under “Your login”; if it is forgotten, an administrator gives its owner a link "
        "on the page People. If no administrator can log in, add one: manage.py createsuperuser."
    )
