"""The flush between transactional tests gets past the triggers of kept tables, and leaves them standing."""

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction

from reels import append_only
from reels.models import Chain


@pytest.mark.django_db(transaction=True)
def test_a_flush_empties_kept_tables_and_guards_them_again():
    chain = Chain.objects.create(name="kept")
    with pytest.raises(IntegrityError), transaction.atomic():
        chain.delete()
    call_command("flush", verbosity=0, interactive=False, allow_cascade=False, inhibit_post_migrate=True)
    assert Chain.objects.count() == 0
    assert append_only.faults(connection) == []
