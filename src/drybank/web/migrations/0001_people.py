"""The tables of people, roles and invitations."""

from typing import ClassVar

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies: ClassVar = []

    operations: ClassVar = [
        migrations.CreateModel(
            name="Person",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                ("last_login", models.DateTimeField(blank=True, null=True, verbose_name="last login")),
                ("handle", models.CharField(max_length=40, unique=True)),
                ("name", models.CharField(default="", max_length=80)),
                ("language", models.CharField(default="", max_length=5)),
                ("is_active", models.BooleanField(default=True)),
            ],
            options={
                "db_table": "web_person",
            },
        ),
        migrations.CreateModel(
            name="Invitation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("secret_sha256", models.CharField(max_length=64, unique=True)),
                ("store", models.CharField(max_length=80)),
                ("role", models.CharField(max_length=20)),
                ("partner", models.CharField(default="", max_length=80)),
                ("made_by", models.CharField(default="", max_length=40)),
                ("made", models.DateTimeField()),
                ("expires", models.DateTimeField()),
                ("used", models.DateTimeField(null=True)),
                ("used_by", models.CharField(default="", max_length=40)),
            ],
            options={
                "db_table": "web_invitation",
            },
        ),
        migrations.CreateModel(
            name="Membership",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("store", models.CharField(max_length=80)),
                ("role", models.CharField(max_length=20)),
                ("partner", models.CharField(default="", max_length=80)),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="memberships",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "db_table": "web_membership",
                "constraints": [
                    models.UniqueConstraint(fields=("person", "store", "role", "partner"), name="web_membership_once")
                ],
            },
        ),
    ]
