"""The service's own settings, with the bare view beside it."""

from deploy.settings import *  # noqa: F403  # the very same
from deploy.settings import INSTALLED_APPS as SERVICE_APPS

INSTALLED_APPS = [*SERVICE_APPS, "tests.benchmarks.bare"]
ROOT_URLCONF = "tests.benchmarks.bare.urls"
