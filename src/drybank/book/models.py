"""The tables. Entries are never changed: the triggers of the first migration refuse it, whoever asks.

Moments are text, stored as hashed. `Row` repeats in columns what its text says, for look-up; ``verify`` holds them against
each other. `Head` is the end of each store's chain, kept so that opening and appending need not read the chain.
`KeptThing` lies beside the chain and can be erased.
"""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class Row(models.Model):
    id: models.CharField[str, str] = models.CharField(max_length=36, primary_key=True)
    store: models.CharField[str, str] = models.CharField(max_length=80)
    seq: models.BigIntegerField[int, int] = models.BigIntegerField()
    kind: models.CharField[str, str] = models.CharField(max_length=20)
    happened: models.CharField[str, str] = models.CharField(max_length=27)
    by: models.CharField[str, str] = models.CharField(max_length=80)
    corrects: models.CharField[str, str] = models.CharField(max_length=80, default="")
    text: models.TextField[str, str] = models.TextField()
    booked: models.CharField[str, str] = models.CharField(max_length=27)
    prev: models.CharField[str, str] = models.CharField(max_length=64)
    hash: models.CharField[str, str] = models.CharField(max_length=64)
    old_hash: models.CharField[str, str] = models.CharField(max_length=64, default="")

    objects: ClassVar[models.Manager[Row]] = models.Manager()

    class Meta:
        app_label = "book"
        db_table = "book_entry"
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["store", "seq"], name="book_entry_place"),
            models.CheckConstraint(condition=models.Q(seq__gte=1), name="book_entry_from_one"),
        ]
        indexes: ClassVar = [models.Index(fields=["store", "kind", "seq"], name="book_entry_kind")]


class Head(models.Model):
    store: models.CharField[str, str] = models.CharField(max_length=80, primary_key=True)
    seq: models.BigIntegerField[int, int] = models.BigIntegerField()
    hash: models.CharField[str, str] = models.CharField(max_length=64)

    objects: ClassVar[models.Manager[Head]] = models.Manager()

    class Meta:
        app_label = "book"
        db_table = "book_head"


class KeptThing(models.Model):
    """``salt`` and ``content`` are empty once erased; ``erased`` says when."""

    sha256: models.CharField[str, str] = models.CharField(max_length=64, primary_key=True)
    what: models.CharField[str, str] = models.CharField(max_length=20)
    is_text: models.BooleanField[bool, bool] = models.BooleanField(default=True)
    salt: models.BinaryField[bytes, bytes] = models.BinaryField()
    content: models.BinaryField[bytes, bytes] = models.BinaryField()
    erased: models.CharField[str, str] = models.CharField(max_length=27, default="")

    objects: ClassVar[models.Manager[KeptThing]] = models.Manager()

    class Meta:
        app_label = "book"
        db_table = "book_kept"
