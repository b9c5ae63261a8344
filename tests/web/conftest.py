"""The standing cast: one person for each role in one store of the demo town, an owner of the book, and a stranger.

Django is set up when this file is read, before any test runs, so that rooms tested in the same process find it so.
Password hashing is made cheap here and nowhere else.
"""

import os
import tempfile
from datetime import timedelta
from pathlib import Path

PLACE = Path(tempfile.mkdtemp(prefix="drybank-web-"))
SAID = {
    "DJANGO_SETTINGS_MODULE": "drybank.web.settings",
    "DRYBANK_BOOK": str(PLACE / "none.book"),
    "DRYBANK_SECRET_KEY": "only for tests",
}
before = {name: os.environ.get(name) for name in SAID}
os.environ.update(SAID)
import django  # noqa: E402

django.setup()
from django.test.utils import setup_test_environment  # noqa: E402

setup_test_environment()
for name, old in before.items():  # a program that another test starts is not told of ours
    os.environ.pop(name) if old is None else os.environ.update({name: old})

import pytest  # noqa: E402

STORE, OTHER = "saddle", "weir"
PASSWORD = "three quiet drums"
CAST = {
    "owner": (STORE, "owner", ""), "manager": (STORE, "manager", ""), "technician": (STORE, "technician", ""),
    "collector": (STORE, "collector", ""), "counter": (STORE, "counter", ""), "accountant": (STORE, "accountant", ""),
    "partner": (STORE, "partner", "House owners"), "stranger": (OTHER, "owner", ""), "ada": ("*", "owner", ""),
}  # fmt: skip


def begin(path):
    """A demo book behind the pages, with the cast, its clock the day after the last entry."""
    from django.conf import settings

    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    from drybank.desk.demo import last_day, make_demo
    from drybank.web import site

    make_demo(path)
    from datetime import UTC, datetime, time

    moment = datetime.combine(last_day() + timedelta(days=3), time(20), UTC)
    site.use(path)
    site.standing.clock = lambda: moment
    from drybank.web.models import Membership, Person

    for handle, (store, role, partner) in CAST.items():
        person = Person(handle=handle, name=handle.title())
        person.set_password(PASSWORD)
        person.save()
        Membership.objects.create(person=person, store=store, role=role, partner=partner)
    return site.book()


@pytest.fixture(scope="session", autouse=True)
def town():
    """The demo town behind the pages, for the whole run."""
    return begin(Path(tempfile.mkdtemp(dir=PLACE)) / "town.book")


@pytest.fixture
def as_(town):
    """``as_("owner")`` gives a client logged in; ``as_("")`` one that is not."""
    from django.test import Client

    from drybank.web.models import Person

    def client(handle):
        made = Client()
        if handle:
            made.force_login(Person.objects.get(handle=handle), backend="django.contrib.auth.backends.ModelBackend")
        return made

    return client


@pytest.fixture
def traceless(town):
    """What a test enters in the store is taken back afterwards, so that the next one finds the town as it was."""
    from drybank.desk.correcting import correct
    from drybank.desk.stamp import Pen
    from drybank.web import site

    before = len(list(town.chain(STORE)))
    yield
    fixed = ("correction", "seal", "close")
    for booked in list(town.chain(STORE))[before:]:
        if booked.entry.kind not in fixed:
            pen = Pen(by="ada", clock=site.now)
            correct(town, booked.entry.id, pen, reason="only a test", take_back=True)
