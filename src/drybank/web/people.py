"""Accounts, roles and invitations: the rules of who may join, and what may stand in a handle."""

from __future__ import annotations

import hashlib
import re
import secrets
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from drybank.records.errors import InputError, InputErrors, Missing
from drybank.web.rights import ROLES

if TYPE_CHECKING:
    from drybank.web.models import Invitation, Person

DAYS_OPEN = 7
_HANDLE = re.compile(r"[a-z][a-z0-9._-]{1,39}")


def _sha256(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def invite(*, store: str, role: str, now: datetime, made_by: str = "", partner: str = "", days: int = DAYS_OPEN) -> str:
    """A new invitation; its secret is given once, only the hash is kept."""
    from drybank.web.models import Invitation

    if role not in ROLES:
        raise InputError(_("“%(role)s” is not a role.") % {"role": role}, where="role", allowed=", ".join(ROLES))
    if role == "partner" and not partner:
        raise InputError(_("Whose share may this partner see?"), where="partner", mend=_("Choose a share."))
    secret = secrets.token_urlsafe(24)
    Invitation.objects.create(
        secret_sha256=_sha256(secret), store=store, role=role, partner=partner if role == "partner" else "", made_by=made_by,
        made=now, expires=now + timedelta(days=days),
    )  # fmt: skip
    return secret


def invitation_of(secret: str, now: datetime) -> Invitation:
    """The open invitation behind a link; `Missing` where there is none, it is used or it has expired."""
    from drybank.web.models import Invitation

    found = Invitation.objects.filter(secret_sha256=_sha256(secret), used=None, expires__gt=now).first()
    if found is None:
        raise Missing(_("This invitation is used or has expired. Ask for a new one."))
    return found


def join(secret: str, now: datetime, *, handle: str, name: str, password: str) -> Person:
    """Make the account that an invitation is for; every mistake at once, nothing half made."""
    from drybank.web.models import Membership, Person

    person = Person(handle=handle.strip().lower(), name=name.strip()[:80])
    mistakes = _handle_mistakes(person.handle)
    try:
        validate_password(password, person)
    except ValidationError as bad:
        mistakes += [InputError(text, where="password") for text in bad.messages]
    with transaction.atomic():
        found = invitation_of(secret, now)
        if mistakes:
            raise InputErrors(mistakes)
        person.set_password(password)
        person.save()
        Membership.objects.create(person=person, store=found.store, role=found.role, partner=found.partner)
        found.used, found.used_by = now, person.handle
        found.save()
    return person


def accept(secret: str, now: datetime, person: Person) -> None:
    """Give a person who has an account already the role that an invitation is for."""
    from drybank.web.models import Membership

    with transaction.atomic():
        found = invitation_of(secret, now)
        Membership.objects.get_or_create(person=person, store=found.store, role=found.role, partner=found.partner)
        found.used, found.used_by = now, person.handle
        found.save()


def _handle_mistakes(handle: str) -> list[InputError]:
    from drybank.web.models import Person

    if not _HANDLE.fullmatch(handle):
        return [InputError(_("A short name has 2 to 40 small letters, digits, dots or dashes."), where="handle")]
    if Person.objects.filter(handle=handle).exists():
        return [InputError(_("Somebody has this short name already."), where="handle", mend=_("Take another."))]
    return []


def has_owner() -> bool:
    """Whether anybody owns the book yet."""
    from drybank.web.models import Membership

    return Membership.objects.filter(role="owner", person__is_active=True).exists()


def remove(number: int, store: str, by: Person) -> None:
    """Take a role in one store away; nobody takes their own last owner's role."""
    from drybank.web.models import Membership

    found = Membership.objects.filter(id=number, store=store).first()
    if found is None:
        raise InputError(_("There is no such role in this store."))
    if found.role == "owner" and found.person.pk == by.pk:
        raise InputError(_("You cannot take your own ownership away."), mend=_("Another owner can."))
    found.delete()
