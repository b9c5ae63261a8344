"""People, what each may do in which store, and invitations. Beside the book, never in its chain."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models

EVERY_STORE = "*"


class Person(AbstractBaseUser):
    """Who logs in. ``handle`` is what entries are signed with; it never changes."""

    handle: models.CharField[str, str] = models.CharField(max_length=40, unique=True)
    name: models.CharField[str, str] = models.CharField(max_length=80, default="")
    language: models.CharField[str, str] = models.CharField(max_length=5, default="")
    is_active: models.BooleanField[bool, bool] = models.BooleanField(default=True)

    USERNAME_FIELD = "handle"
    REQUIRED_FIELDS: ClassVar[list[str]] = []
    objects: ClassVar[BaseUserManager[Person]] = BaseUserManager()

    class Meta:
        app_label = "web"
        db_table = "web_person"


class Membership(models.Model):
    """One role of one person in one store, or in every store of the book (``*``)."""

    person: models.ForeignKey[Person, Person] = models.ForeignKey(
        Person, on_delete=models.CASCADE, related_name="memberships"
    )
    store: models.CharField[str, str] = models.CharField(max_length=80)
    role: models.CharField[str, str] = models.CharField(max_length=20)
    partner: models.CharField[str, str] = models.CharField(max_length=80, default="")

    objects: ClassVar[models.Manager[Membership]] = models.Manager()

    class Meta:
        app_label = "web"
        db_table = "web_membership"
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["person", "store", "role", "partner"], name="web_membership_once")
        ]


class Invitation(models.Model):
    """A link that makes an account or a role once, until it expires. Only the hash of its secret is kept."""

    secret_sha256: models.CharField[str, str] = models.CharField(max_length=64, unique=True)
    store: models.CharField[str, str] = models.CharField(max_length=80)
    role: models.CharField[str, str] = models.CharField(max_length=20)
    partner: models.CharField[str, str] = models.CharField(max_length=80, default="")
    made_by: models.CharField[str, str] = models.CharField(max_length=40, default="")
    made: models.DateTimeField[datetime, datetime] = models.DateTimeField()
    expires: models.DateTimeField[datetime, datetime] = models.DateTimeField()
    used: models.DateTimeField[datetime | None, datetime | None] = models.DateTimeField(null=True)
    used_by: models.CharField[str, str] = models.CharField(max_length=40, default="")

    objects: ClassVar[models.Manager[Invitation]] = models.Manager()

    class Meta:
        app_label = "web"
        db_table = "web_invitation"


class DeviceToken(models.Model):
    """A device that sends for one person in one store. Only the hash of its secret is kept."""

    person: models.ForeignKey[Person, Person] = models.ForeignKey(
        Person, on_delete=models.CASCADE, related_name="device_tokens"
    )
    store: models.CharField[str, str] = models.CharField(max_length=80)
    label: models.CharField[str, str] = models.CharField(max_length=40)
    secret_sha256: models.CharField[str, str] = models.CharField(max_length=64, unique=True)
    made_by: models.CharField[str, str] = models.CharField(max_length=40)
    made: models.DateTimeField[datetime, datetime] = models.DateTimeField()
    expires: models.DateTimeField[datetime, datetime] = models.DateTimeField()
    revoked: models.DateTimeField[datetime | None, datetime | None] = models.DateTimeField(null=True)
    last_used: models.DateTimeField[datetime | None, datetime | None] = models.DateTimeField(null=True)

    objects: ClassVar[models.Manager[DeviceToken]] = models.Manager()

    class Meta:
        app_label = "web"
        db_table = "web_device_token"
