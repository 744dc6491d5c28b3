"""Whether all that was acknowledged is in the records, once, and all of them whole: `python -m tests.deployment.audit`.

What was acknowledged comes in on standard input, as JSON; what is wrong goes out, a line each.
"""

import json
import os
import sys
from collections import Counter
from collections.abc import Iterator
from typing import Any

from tests.deployment.load import Acknowledged


def problems(acknowledged: list[Acknowledged]) -> Iterator[str]:
    yield from what_is_lost(acknowledged)
    yield from what_is_twice([each.key for each in acknowledged])
    yield from what_is_broken()


def what_is_lost(acknowledged: list[Acknowledged]) -> Iterator[str]:
    from inspections.models import Inspection, Reading, SetupValues, SignOff

    inspections = dict(Inspection.objects.values_list("pk", "reel__serial"))
    found: dict[str, Any] = {
        "inspection": inspections,
        "reading": {
            pk: inspections[pk] for pk in Reading.objects.exclude(outcome="").values_list("inspection", flat=True)
        },
        "setup values": dict(SetupValues.objects.values_list("pk", "reel__serial")),
    }
    for meaning in ("counted", "verified"):
        signed = SignOff.objects.filter(meaning=meaning)
        found[meaning] = dict(signed.values_list("inspection", "inspection__reel__serial"))
    for each in acknowledged:
        if found[each.kind].get(each.id) != each.serial:
            yield f"lost: {each}"


def what_is_twice(keys: list[str]) -> Iterator[str]:
    from django.db.models import Count

    from inspections.models import Inspection, SetupValues
    from reels.models import Submission

    kept = Counter(Submission.objects.values_list("key", flat=True))
    yield from (f"stored {kept[key]} times: the answer to {key}" for key in keys if kept[key] != 1)
    for model in (Inspection, SetupValues):
        rows: Any = model._default_manager.values("reel__serial").annotate(n=Count("pk")).filter(n__gt=1)
        yield from (f"twice: {model.__name__} of {row['reel__serial']}" for row in rows)


def what_is_broken() -> Iterator[str]:
    from django.core.management import call_command

    try:
        call_command("verify_records", stdout=sys.stderr)
    except SystemExit as ended:
        if ended.code:
            yield "verify_records found a break"


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    import django

    django.setup()
    given = [Acknowledged(**each) for each in json.load(sys.stdin)]
    sys.stdout.writelines(f"{problem}\n" for problem in problems(given))
