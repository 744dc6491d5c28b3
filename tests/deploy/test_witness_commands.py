"""A witness at work with the stand-alone checker, as a process of its own."""

from reels.domain import checkpoint
from reels.services.checkpoint_key import checkpoint_key
from tests.deploy.test_check_records import served

__all__ = ["served"]


def test_a_witness_signs_refuses_and_is_named(served):
    status, says = served.run("witness-key", "own", "Heron Lake Authority")
    key = says.strip()[-64:]
    assert (status, says[: -len(key) - 1]) == (
        0,
        "The public key of Heron Lake Authority, for the service's administrator: ",
    )
    assert (served.folder / "own" / "witness_key.pem").stat().st_mode & 0o777 == 0o600
    assert served.run("witness-key", "own", "Heron Lake Authority")[0] == 2  # a key is made once
    assert served.run("witness-key", "other", "two\nlines")[0] == 2
    assert served.run("witness", "own", "earlier.txt", served.key)[0] == 0
    assert served.run("witness", "own", "later.txt", served.key)[0] == 2  # without the proof
    status, says = served.run("witness", "own", "later.txt", served.key, "consistency.json")
    assert (status, "Countersigned, for the service" in says) == (0, True)
    last = f"countersignature-{checkpoint.lines_of((served.folder / 'later.txt').read_text())['entries']}.txt"
    status, says = served.run("witnessed", "later.txt", served.key, f"own/{last}", key)
    assert status == 0
    assert "is witnessed by 1: Heron Lake Authority, " in says
    status, says = served.run("witness", "own", "earlier.txt", served.key)
    assert status == 1
    assert "REFUSED, NOTHING WAS COUNTERSIGNED: it covers" in says
    assert served.run("witnessed", "earlier.txt", served.key, f"own/{last}", key)[1].startswith(
        "BROKEN: Heron Lake Authority countersigned another checkpoint"
    )
    twice = (f"own/{last}", key) * 2
    assert "two of these are by one key" in served.run("witnessed", "later.txt", served.key, *twice)[1]
    assert "does not hold for this witness's key" in served.run(
        "witnessed", "later.txt", served.key, f"own/{last}", served.key
    )[1]  # fmt: skip
    served.change(f"own/{last}", "Heron", "Teal")
    assert served.run("witnessed", "later.txt", served.key, f"own/{last}", key)[0] == 1
    assert "this is not a countersignature" in served.run("witnessed", "later.txt", served.key, "later.txt", key)[1]


def test_a_witness_is_not_led_to_another_service_or_back_to_the_first_form(served):
    served.run("witness-key", "own", "Heron Lake Authority")
    served.run("witness", "own", "earlier.txt", served.key)
    key = checkpoint_key()
    for old, new, why in (
        ("service: ", "service: other ", "it is of the service other"),
        ("ends: ", "was: ", "do not end where those of the one you signed last did"),
    ):
        body = (served.folder / "later.txt").read_text().partition("signature: ")[0].replace(old, new)
        (served.folder / "wrong.txt").write_text(f"{body}signature: {key.sign(body.encode()).hex()}\n")
        status, says = served.run("witness", "own", "wrong.txt", served.key, "consistency.json")
        assert (status, why in says) == (1, True), says
