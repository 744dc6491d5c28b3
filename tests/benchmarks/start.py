"""What a process of the web server costs to load, beside one that loads Django and REST framework and nothing of ours.

`python -m tests.benchmarks.start [ROUNDS]`: seconds of processor time, user and system, the median of the rounds, and
the most memory, MB. HTTP clients and highlighters that only development has are left out, as a deployment has none.
"""

import statistics
import subprocess
import sys

LEFT_OUT = """
import sys
class Absent:
    def find_spec(self, name, path=None, target=None):
        if name in ("requests", "pygments"):
            raise ImportError(name)
sys.meta_path.insert(0, Absent())
"""
BARE = """
from django.conf import settings
settings.configure(
    INSTALLED_APPS=["django.contrib.admin", "django.contrib.auth", "django.contrib.contenttypes",
                    "django.contrib.sessions", "django.contrib.messages", "rest_framework"],
    ROOT_URLCONF="rest_framework.urls",
)
from django.core.wsgi import get_wsgi_application
application = get_wsgi_application()
import django.contrib.admin, rest_framework.urls, rest_framework.views
"""
OURS = "import deploy.wsgi, deploy.urls"
COST = """
import resource
used = resource.getrusage(resource.RUSAGE_SELF)
print(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
"""


def cost(load: str) -> tuple[float, float]:
    """Seconds of processor time and MB of one process."""
    command = [sys.executable, "-c", LEFT_OUT + load + COST]
    seconds, megabytes = subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()
    return float(seconds), float(megabytes)


def main(rounds: int) -> None:
    # One after the other, so that both have the same machine.
    costs = [(cost(BARE), cost(OURS)) for _ in range(rounds)]
    for name, each in zip(("Django and REST framework", "Wrapledger"), zip(*costs, strict=True), strict=True):
        seconds = sorted(s for s, _ in each)
        print(f"    {name}: {statistics.median(seconds):.2f} s ({seconds[0]:.2f} to {seconds[-1]:.2f}), "
              f"{max(m for _, m in each):.0f} MB")  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 9)
