"""Entries, the heads of their chains, and what lies beside them; append-only by trigger on both databases."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from drybank.book.guards import put_up


def guard(apps: object, editor: BaseDatabaseSchemaEditor) -> None:
    """Triggers, and for PostgreSQL the revoked rights."""
    put_up(editor.connection)


class Migration(migrations.Migration):
    initial = True
    dependencies: ClassVar = []
    operations: ClassVar = [
        migrations.CreateModel(
            name="Row",
            fields=[
                ("id", models.CharField(max_length=36, primary_key=True, serialize=False)),
                ("store", models.CharField(max_length=80)),
                ("seq", models.BigIntegerField()),
                ("kind", models.CharField(max_length=20)),
                ("happened", models.CharField(max_length=27)),
                ("by", models.CharField(max_length=80)),
                ("corrects", models.CharField(default="", max_length=80)),
                ("text", models.TextField()),
                ("booked", models.CharField(max_length=27)),
                ("prev", models.CharField(max_length=64)),
                ("hash", models.CharField(max_length=64)),
                ("old_hash", models.CharField(default="", max_length=64)),
            ],
            options={
                "db_table": "book_entry",
                "indexes": [models.Index(fields=["store", "kind", "seq"], name="book_entry_kind")],
                "constraints": [
                    models.UniqueConstraint(fields=("store", "seq"), name="book_entry_place"),
                    models.CheckConstraint(condition=models.Q(("seq__gte", 1)), name="book_entry_from_one"),
                ],
            },
        ),
        migrations.CreateModel(
            name="Head",
            fields=[
                ("store", models.CharField(max_length=80, primary_key=True, serialize=False)),
                ("seq", models.BigIntegerField()),
                ("hash", models.CharField(max_length=64)),
            ],
            options={"db_table": "book_head"},
        ),
        migrations.CreateModel(
            name="KeptThing",
            fields=[
                ("sha256", models.CharField(max_length=64, primary_key=True, serialize=False)),
                ("what", models.CharField(max_length=20)),
                ("is_text", models.BooleanField(default=True)),
                ("salt", models.BinaryField()),
                ("content", models.BinaryField()),
                ("erased", models.CharField(default="", max_length=27)),
            ],
            options={"db_table": "book_kept"},
        ),
        migrations.RunPython(guard, migrations.RunPython.noop, elidable=False),
    ]
