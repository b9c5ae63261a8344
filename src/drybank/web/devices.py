"""Device tokens: how a phone or program proves who sends, without a password. Shown once, kept as a hash, ended at any time.

A token stands for one person in one store and can do there what the person's roles can, no more. It holds 256 random bits,
so a plain hash is enough: there is nothing to guess.
"""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from drybank.records.errors import InputError, Missing

if TYPE_CHECKING:
    from drybank.web.models import DeviceToken, Person

DAYS = 180
MOST_DAYS = 400
MARK = "drybank1_"
SEEN_EVERY = timedelta(minutes=1)


def hash_of(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def make(
    *, store: str, handle: str, label: str, now: datetime, made_by: Person, days: int = DAYS
) -> tuple[str, DeviceToken]:
    """A new token for somebody of this store; its secret is given once, only the hash is kept.

    A manager cannot make one for an owner: it would lend the manager the owner's rights.
    """
    from drybank.web.models import EVERY_STORE, DeviceToken, Membership

    label = " ".join(label.split())[:40]
    if not label or not label.isprintable():
        raise InputError(_("A device needs a name, such as “van phone 2”."), where="label")
    if not 1 <= days <= MOST_DAYS:
        raise InputError(_("A token lasts 1 to %(days)d days.") % {"days": MOST_DAYS}, where="days")
    here = Membership.objects.filter(store__in=(store, EVERY_STORE))
    theirs = here.filter(person__handle=handle, person__is_active=True).select_related("person")
    if not theirs:
        raise InputError(
            _("Nobody of this store has the short name “%(handle)s”.") % {"handle": handle}, where="handle"
        )
    is_owner = here.filter(person=made_by, role="owner").exists()
    if not is_owner and any(m.role == "owner" for m in theirs):
        raise InputError(_("Only an owner makes a token for an owner."), where="handle")
    secret = MARK + secrets.token_urlsafe(32)
    made = DeviceToken.objects.create(
        person=theirs[0].person, store=store, label=label, secret_sha256=hash_of(secret), made_by=made_by.handle, made=now,
        expires=now + timedelta(days=days),
    )  # fmt: skip
    return secret, made


def token_of(secret: str, now: datetime) -> DeviceToken | None:
    """The living token behind a secret, its use noted (to the minute)."""
    from drybank.web.models import DeviceToken

    if not secret.startswith(MARK) or len(secret) > 100:
        return None
    found = (
        DeviceToken.objects.filter(secret_sha256=hash_of(secret), revoked=None, expires__gt=now, person__is_active=True)
        .select_related("person").first()
    )  # fmt: skip
    if found is not None and (found.last_used is None or now - found.last_used >= SEEN_EVERY):
        DeviceToken.objects.filter(pk=found.pk).update(last_used=now)
    return found


def revoke(number: int, store: str, now: datetime) -> DeviceToken:
    """End a token of this store at once."""
    from drybank.web.models import DeviceToken

    found = DeviceToken.objects.filter(pk=number, store=store).select_related("person").first()
    if found is None:
        raise Missing(_("There is no such token in this store."))
    if found.revoked is None:
        found.revoked = now
        found.save(update_fields=["revoked"])
    return found
