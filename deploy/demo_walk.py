"""The demo's walk: a reel from its first reading to confirmed setup values, one that is referred, one that is held.

`python -m deploy.demo_walk http://127.0.0.1:8000` works over the API like any other client. What two people key, and
what must come of it, is in demo_fleet/walk.json. Exit 0: everything came out as it must; 1: the first that did not is
named. It may be walked again: it first takes its reels off their machines and ends counts that were left open.
"""

import json
import subprocess
import sys
import textwrap
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.error import URLError

from deploy.demo_client import ApiResponse, ApiSession

HOME = Path(__file__).resolve().parent.parent
FLEET = HOME / "deploy" / "demo_fleet"
WIDTH = 110
WORKER_WAIT_S = 300
POINTS = {
    "serial": "data plate",
    "scale_left": "left scale", "scale_right": "right scale", "open_side": "open side", "unwind": "unwind direction",
    "hand_count": "hand count", "gauge": "wrap gauge", "crossover": "crossover",
}  # fmt: skip
CAUTIONS = (
    "The approved publications, the local rules and the licensed people come first. Where anything here differs "
    "from them, stop and ask.",
    "Wrapledger records and checks. It authorises nothing and nobody.",
    "A reel is counted off the machine, on its stand, turned as it sits when installed.",
    "Larkspur Water Survey, its people, machines and reels are made up.",
)


class Unexpected(Exception):
    """Something came out otherwise than walk.json says."""


class DemoWalk:
    """The people of the walk, each in a session of their own, and what is expected of them."""

    def __init__(self, address: str, script: dict[str, Any], password: str) -> None:
        self.script, self.password = script, password
        self.checks = 0
        self.people = {part: ApiSession(address, name, password) for part, name in script["people"].items()}
        for session in self.people.values():
            self.body_of(session.login, f"{session.username} logs in")

    def expect(self, what: str, actual: Any, expected: Any) -> None:
        self.checks += 1
        if actual != expected:
            raise Unexpected(f"{what}: expected {expected}, found {actual}")

    def body_of(self, response: ApiResponse, what: str) -> Any:
        """The body of a response that must not be a refusal."""
        self.expect(what, f"refused: {response.message}" if response.is_refused else "done", "done")
        return response.body

    def name(self, part: str) -> str:
        return str(self.people[part].login.body["person"]["full_name"])

    def get(self, part: str, path: str) -> Any:
        return self.body_of(self.people[part].get(path), f"{self.name(part)} looks at {path}")

    def post(self, part: str, path: str, /, *, seen: str = "", **body: Any) -> Any:
        """seen: the path of what the person has looked at before, where the act must not rest on a stale view."""
        session = self.people[part]
        response = session.post_as_seen(path, seen=seen, **body) if seen else session.post(path, **body)
        return self.body_of(response, f"{self.name(part)} at {path}")


# Telling ------------------------------------------------------------------------------------------------------------


def tell(text: str) -> None:
    print(text, flush=True)  # as it happens, also into a file


def heading(text: str) -> None:
    tell(f"\n{text}\n{'-' * len(text)}")


def say(text: str, hang: int = 2) -> None:
    """A paragraph, its later lines indented by so many columns more."""
    tell(textwrap.fill(text, WIDTH, initial_indent="  ", subsequent_indent="  " + " " * hang))


def value_in_words(point: str, values: dict[str, Any]) -> str:
    """A keyed value as people say it."""
    if point == "gauge":
        return f"{values['gauge_wraps']} on the {values['gauge_face']} face"
    word = str(next(iter(values.values()))).replace("_", " ")
    return f"the {word} half" if point == "crossover" else word


def count_in_words(count: dict[str, Any]) -> str:
    return f"{count['layers']} layers and {count['wraps']} wraps ({count['parity']})"


def tell_steps(steps: list[dict[str, Any]]) -> None:
    for step in steps:
        sign = "+" if step["change"] >= 0 else "-"
        equation = f"{step['before']} {sign} {abs(step['change'])} = {step['after']}".replace("-", "−")
        say(f"{step['label']:33}{equation:14}{step['why']}", hang=47)


# A count ------------------------------------------------------------------------------------------------------------


def make_ready(walk: DemoWalk, serial: str) -> None:
    """Undo what an earlier walk, or somebody trying the pages, has left on the reel."""
    reel = walk.get("maintenance control", f"reels/{serial}")
    if reel["hold"]:
        reason = "The demo needs this reel."
        walk.post("maintenance control", f"reels/{serial}/hold/end", seen=f"reels/{serial}", reason=reason)
    if reel["inspection"]:
        path = f"inspections/{reel['inspection']['id']}/cancellation"
        walk.post("technician", path, reason="Left over from an earlier walk.")
        say(f"An inspection that an earlier walk left open was cancelled; it stays in the history of {serial}.")
    if reel["installation"]:
        walk.post("maintenance control", f"reels/{serial}/removal", reason="to be counted")
        say(f"{walk.name('maintenance control')} records that {serial} came off {reel['machine']} to be counted.")
    elif reel["setup_values"]:
        path = f"setup-values/{reel['setup_values']['id']}"
        walk.post("maintenance control", f"{path}/withdrawal", seen=path, reason="The reel is counted again.")


def free_machine(walk: DemoWalk) -> str:
    """The first machine of the walk without a reel and without values waiting for one."""
    reels = walk.get("maintenance control", f"reels?site={walk.script['site']}&page_size=200")["results"]
    values = walk.get("maintenance control", "setup-values?in_force=yes&page_size=200")["results"]
    taken = {row["machine"] for row in [*reels, *values]}
    free = [machine for machine in walk.script["machines"] if machine not in taken]
    walk.expect(f"machines free among {', '.join(walk.script['machines'])}", bool(free), True)
    return str(free[0])


def gauge_of(walk: DemoWalk, machine: str) -> str:
    """The wrap gauge of a machine, brought back if an earlier walk has left it out."""
    [gauge] = walk.get("technician", f"wrap-gauges?machine={machine}")["results"]
    if gauge["out"]:
        return_gauge(walk, f"inspections/{gauge['out']['inspection']}", gauge["serial"])
    return str(gauge["serial"])


def take_gauge(walk: DemoWalk, path: str, gauge: str) -> None:
    body = walk.post("technician", f"{path}/gauge", wrap_gauge=gauge, end_marks_match=True)
    prepared = body["preparation"]
    walk.expect("the wrap gauge", prepared["wrap_gauge"], gauge)
    say(
        f"{walk.name('technician')} keys the serial of the wrap gauge, {gauge}, and matches its end marks: it belongs "
        f"to {prepared['machine']}, fits, and is not past due."
    )


def return_gauge(walk: DemoWalk, path: str, gauge: str) -> None:
    walk.post("technician", f"{path}/gauge-return", wrap_gauge=gauge)
    say(f"{walk.name('technician')} puts wrap gauge {gauge} back in its machine and keys its serial there.")


def prepare(walk: DemoWalk, serial: str, condition: str = "all five parts sound", **changes: Any) -> str:
    """Open an inspection; its path. changes: to what the script says of the preparation."""
    preparation = {**walk.script["preparation"], **changes}
    opened = walk.post("technician", f"reels/{serial}/inspections", **preparation)
    publication = f"{preparation['publication']} revision {preparation['publication_revision']}"
    say(
        f"{walk.name('technician')} has confirmed the cautions and prepared {serial}: off the machine, turned as "
        f"installed, marks found, {condition}. Work order {preparation['work_order']}, {publication}."
    )
    return f"inspections/{opened['id']}"


def key_point(walk: DemoWalk, path: str, row: dict[str, Any]) -> tuple[dict[str, Any], str]:
    """Both people key what they see at one point; the reading as it stands afterwards, and what came of it."""
    point, values = row["point"], row["technician"]
    body = walk.post("technician", f"{path}/keyings", point=point, role="technician", **values)
    number = next(each["number"] for each in body["readings"] if each["outcome"] is None)
    line = f"{POINTS[point]:18}{walk.name('technician')}: {value_in_words(point, values)}"
    if "verifier" in row:
        expect_blind(walk, path, number, point)
        body = walk.post("verifier", f"{path}/keyings", point=point, role="verifier", **row["verifier"])
        line += f"; {walk.name('verifier')}, not shown it: {value_in_words(point, row['verifier'])}"
    reading: dict[str, Any] = next(each for each in body["readings"] if each["number"] == number)
    outcome = outcome_of(reading, row)
    say(f"{line}.{' They agree.' if 'verifier' in row and outcome != 'differs' else ''}", hang=18)
    walk.expect(f"{POINTS[point]} of reading {number}", outcome, row["expected"])
    return reading, outcome


def expect_blind(walk: DemoWalk, path: str, number: int, point: str) -> None:
    """What the technician has just keyed must not be in anything that the verifier can get."""
    reading = next(each for each in walk.get("verifier", path)["readings"] if each["number"] == number)
    keyed = next(each for each in reading["points"] if each["point"] == point)["keyed"]
    technicians = [each["values"] for each in keyed if each["role"] == "technician"]
    walk.expect(f"the technician's {POINTS[point]} as the verifier may see it", technicians[-1], None)


def outcome_of(reading: dict[str, Any], row: dict[str, Any]) -> str:
    """Of the latest keying: keyed, agreed or differs, or the outcome of the whole reading once it has one."""
    if reading["outcome"]:
        return str(reading["outcome"])
    if "verifier" not in row:
        return "keyed"
    point = next(each for each in reading["points"] if each["point"] == row["point"])
    return "agreed" if point["agreed"] else "differs"


def key_all(walk: DemoWalk, path: str, rows: list[dict[str, Any]], gauge: str) -> dict[str, Any]:
    """Every point in turn, as often as the script has it, the gauge before the first hand count; the last reading."""
    reading: dict[str, Any] = {}
    first_count = next(row for row in rows if row["point"] == "hand_count")
    for row in rows:
        if row is first_count:
            take_gauge(walk, path, gauge)
        reading, outcome = key_point(walk, path, row)
        if outcome == "differs":
            say(f"The two differ at the {POINTS[row['point']]}. Neither is told what the other keyed: both look again.")
        if outcome == "reread":
            for problem in reading["working"]["problems"]:
                say(f"READ AGAIN. {problem['detail']}")
    return reading


def sign(walk: DemoWalk, path: str) -> dict[str, Any]:
    """Both sign, each with their own password; the signed inspection."""
    body: dict[str, Any] = {}
    for part, meaning in (("technician", "counted"), ("verifier", "verified")):
        body = walk.post(part, f"{path}/sign-offs", seen=path, meaning=meaning, password=walk.password)
        signature = body["sign_offs"][-1]
        say(f"{walk.name(part)} signs “{signature['meaning']}” with their password; digest {signature['digest'][:16]}…")
    walk.expect("the inspection after both signatures", body["state"], "signed")
    return body


# The two reels ------------------------------------------------------------------------------------------------------


def count_first_reel(walk: DemoWalk, machine: str) -> None:
    script = walk.script["first"]
    heading(f"1. Reel {script['reel']} is counted, hold point by hold point")
    make_ready(walk, script["reel"])
    gauge = gauge_of(walk, machine)
    path = prepare(walk, script["reel"])
    reading = key_all(walk, path, script["keyed"], gauge)
    heading("2. The count is worked out")
    working = reading["working"]
    tell_steps(working["steps"])
    result = {name: working[name] for name in ("layers", "wraps", "parity")}
    walk.expect("the count", result, script["result"])
    say(f"The count is {count_in_words(result)}.")
    heading("3. The wrap gauge goes back, and two people sign")
    return_gauge(walk, path, gauge)
    sign(walk, path)


def set_up_first_reel(walk: DemoWalk, machine: str) -> None:
    serial, result = walk.script["first"]["reel"], walk.script["first"]["result"]
    heading(f"4. Setup values for machine {machine}")
    control, setter, second = (walk.name(part) for part in ("maintenance control", "setter", "second person"))
    values = walk.post("maintenance control", f"reels/{serial}/setup-values", seen=f"reels/{serial}", machine=machine)
    path = f"setup-values/{values['id']}"
    walk.expect("the setup values", {name: values[name] for name in result}, result)
    say(f"{control} issues to {machine} for {serial}: LAYERS {values['layers']}, WRAPS {values['wraps']}.")
    walk.post("maintenance control", f"reels/{serial}/installation", machine=machine)
    say(f"{control} records that {serial} is installed in {machine}.")
    walk.post("setter", f"{path}/gauge-return")
    say(f"{setter} confirms that the wrap gauge is back in its place and nothing stays behind.")
    wrong = walk.script["first"]["wrong_read_back"]
    refused = walk.people["setter"].post_as_seen(f"{path}/read-backs", seen=path, **wrong)
    walk.expect("a read-back that differs", refused.status, 409)
    say(f"{setter} keys what the machine shows: {wrong['layers']}, {wrong['wraps']}. REFUSED. {refused.body['detail']}")
    right = {name: result[name] for name in ("layers", "wraps")}
    walk.post("setter", f"{path}/read-backs", seen=path, **right)
    say(f"{setter} sets the machine again and keys what it shows: {right['layers']}, {right['wraps']}. It matches.")
    walk.post("second person", f"{path}/confirmations", seen=path, **right)
    say(f"{second} reads the machine too: {right['layers']}, {right['wraps']}. Confirmed.")
    remark = "Out and in again; the machine's reading is unchanged."
    checked = walk.post("second person", f"{path}/checks", kind="functional", passed=True, remark=remark)
    say(f"{second} records the functional check: passed.")
    matches = [each["matches"] for each in checked["read_backs"]]
    walk.expect("read-backs kept, the wrong one too", matches, [False, True, True])
    walk.expect("status of the reel", walk.get("maintenance control", f"reels/{serial}")["status"], "values_confirmed")


def refer_second_reel(walk: DemoWalk, machine: str) -> None:
    script, releaser = walk.script["second"], walk.name("releaser")
    heading(f"5. Reel {script['reel']}: read again, then referred")
    make_ready(walk, script["reel"])
    gauge = gauge_of(walk, machine)
    path = prepare(walk, script["reel"])
    reading = key_all(walk, path, script["keyed"], gauge)
    tell_steps(reading["working"]["steps"])
    referral = walk.get("releaser", path)["referrals"][-1]
    say(f"REFERRED. {referral['why']}")
    walk.expect("the proposed count", referral["proposed"], script["proposed"])
    release = script["release"]
    body = walk.post("releaser", f"{path}/release", seen=path, **release)
    walk.expect("the inspection after its release", body["state"], "awaiting_sign_off")
    say(f"{releaser} decides to accept {count_in_words(script['proposed'])}. “{release['reason']}”")
    return_gauge(walk, path, gauge)
    sign(walk, path)


def hold_third_reel(walk: DemoWalk) -> None:
    script = walk.script["third"]
    serial, finding, cut = script["reel"], script["finding"], script["cut"]
    technician, verifier, control = (walk.name(part) for part in ("technician", "verifier", "maintenance control"))
    heading(f"6. Reel {serial}: what is wrong with the reel stops its count")
    make_ready(walk, serial)
    path = prepare(walk, serial, "the cable not sound", cable_sound=False)
    refused = walk.people["technician"].post(f"{path}/findings", **{**finding, "severity": "watch"})
    walk.expect("a kink that is only to be watched", refused.status, 409)
    say(f"{technician} keys the kink as a watch. REFUSED. {refused.body['detail']}")
    recorded = walk.post("technician", f"{path}/findings", **finding)
    say(f"{technician} records it as a stop: “{finding['words']}”")
    walk.expect("status of the reel", walk.get("maintenance control", f"reels/{serial}")["status"], "held")
    key = {"point": "serial", "role": "verifier", "serial": serial}
    refused = walk.people["verifier"].post(f"{path}/keyings", **key)
    walk.expect("a keying while a stop is open", refused.status, 409)
    say(f"{verifier} keys the data plate. REFUSED. {refused.body['detail']}")
    now = datetime.now(UTC).isoformat()
    walk.post("maintenance control", f"reels/{serial}/cable-events", seen=f"reels/{serial}", happened_at=now, **cut)
    say(f"{control} logs the cut, {cut['length_removed_m']} m: “{cut['remark']}”")
    closing = script["closing"]
    walk.post("releaser", f"findings/{recorded['id']}/closing", **closing)
    say(f"{walk.name('releaser')} closes the finding. “{closing['reason']}”")
    walk.expect("the count after the cut", walk.get("releaser", path)["state"], "cancelled")
    say("The reel is let go. Its count ended with the cut, and is kept; the next one begins with the data plate.")


def wait_for_worker(walk: DemoWalk) -> None:
    """Until it has drawn the documents of the counts that were loaded: each is told in a history, too."""
    for _ in range(WORKER_WAIT_S):
        tasks = walk.people["administrator"].get("tasks").body["results"]
        waiting = [task["title"] for task in tasks if task["state"] in ("waiting", "running")]
        if not waiting:
            return
        time.sleep(1)
    raise Unexpected(f"after {WORKER_WAIT_S} seconds a worker has not done: {', '.join(waiting)}")


def check_records(walk: DemoWalk) -> None:
    wait_for_worker(walk)
    heading("7. All records are checked")
    command = [sys.executable, "manage.py", "verify_records"]
    process = subprocess.run(command, cwd=HOME, capture_output=True, text=True, check=False)  # noqa: S603  # our own
    tell(textwrap.indent(process.stdout.rstrip(), "  "))
    walk.expect("verify_records", process.returncode, 0)


def main(address: str) -> int:
    script = json.loads((FLEET / "walk.json").read_text(encoding="utf-8"))
    organisation = json.loads((FLEET / "organisation.json").read_text(encoding="utf-8"))
    tell("CAUTIONS\n--------")
    for caution in CAUTIONS:
        say(f"! {caution}")
    try:
        walk = DemoWalk(address, script, organisation["password"])
        machine = free_machine(walk)
        count_first_reel(walk, machine)
        set_up_first_reel(walk, machine)
        refer_second_reel(walk, machine)
        hold_third_reel(walk)
        check_records(walk)
    except Unexpected as error:
        print(f"\nNOT AS EXPECTED. {error}", file=sys.stderr)
        return 1
    except URLError as error:
        print(f"\nNothing answers at {address}: {error.reason}", file=sys.stderr)
        return 1
    tell(f"\nEvery step came out as expected ({walk.checks} checks).")
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
