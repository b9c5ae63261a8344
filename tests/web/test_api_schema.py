"""The interface against its own description, by schemathesis: every operation, inputs within the description and outside it.

Nothing may end in a server's fault, and every answer must have a status, a kind of content and a shape that are described.
Not asked: that whatever fits the description is accepted (a date that is no date has the right shape and cannot stand).
"""

import os

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi import checks

from drybank.web.api import limits
from drybank.web.rights import CALLS

from .conftest import STORE
from .test_devices import make
from .test_rights import some_entry

CHECKS = [
    not_a_server_error, checks.status_code_conformance, checks.content_type_conformance, checks.response_headers_conformance,
    checks.response_schema_conformance, checks.negative_data_rejection,
]  # fmt: skip
FEW = {"entries-round-": 2, "reading-income": 2, "reading-plan": 2}
KNOWN = {"store": STORE, "bank": "gallery", "pocket": "1", "period": "2026-09", "week": "2026-W44"}


@pytest.fixture(scope="module")
def interface(town):
    """The described interface, with a token of somebody who may do everything in one store."""
    from django.test import Client

    from drybank.web import site
    from drybank.web.models import Person

    owner = Client()
    owner.force_login(Person.objects.get(handle="owner"), backend="django.contrib.auth.backends.ModelBackend")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "drybank.web.settings")
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", site.application())
    schema.secret = make(owner)[1] and make(owner, handle="owner", label="schema")[1]
    return schema


@pytest.fixture(autouse=True)
def no_limits(monkeypatch):
    for name in ("BY_TOKEN", "BY_PERSON", "BY_ADDRESS", "BY_STRANGER"):
        monkeypatch.setattr(limits, name, limits.Limit(burst=10**9, per_s=1.0))


def at_home(case):
    """Two in three go to what is there, so that answers are looked at and not only refusals."""
    known = KNOWN | {"entry": some_entry()}
    for name, value in (case.path_parameters or {}).items():
        if name in known and sum(map(ord, str(value))) % 3:
            case.path_parameters[name] = known[name]


def tried(operation, examples, look):
    """Inputs made from one operation's description, some within it and some outside, handed to ``look``."""
    for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):

        @settings(
            max_examples=examples,
            derandomize=True,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            phases=[Phase.generate],
        )
        @given(case=operation.as_strategy(generation_mode=mode))
        def run(case):
            look(case)

        if mode == GenerationMode.POSITIVE or has_inputs(operation):
            run()


def has_inputs(operation):
    """Whether there is anything that could be given wrongly."""
    return bool([*operation.iter_parameters(), *operation.body])


@pytest.mark.parametrize("call", CALLS, ids=lambda c: c.name)
def test_every_answer_is_as_described(interface, call):
    operation = interface[f"/api/v1{call.path}"][call.method]

    def look(case):
        at_home(case)
        case.cookies = {}
        answer = case.call(headers={"Authorization": f"Bearer {interface.secret}"})
        case.validate_response(answer, checks=CHECKS)

    tried(operation, FEW.get(call.name, 5), look)


@pytest.mark.parametrize("call", [c for c in CALLS if c.method != "GET"], ids=lambda c: c.name)
def test_a_stranger_s_answer_is_as_described_too(interface, call):
    def look(case):
        answer = case.call()
        assert answer.status_code in (401, 404)
        case.validate_response(answer, checks=CHECKS[:-1])

    tried(interface[f"/api/v1{call.path}"][call.method], 2, look)
