"""The table of device tokens."""

from typing import ClassVar

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies: ClassVar = [("web", "0001_people")]

    operations: ClassVar = [
        migrations.CreateModel(
            name="DeviceToken",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("store", models.CharField(max_length=80)),
                ("label", models.CharField(max_length=40)),
                ("secret_sha256", models.CharField(max_length=64, unique=True)),
                ("made_by", models.CharField(max_length=40)),
                ("made", models.DateTimeField()),
                ("expires", models.DateTimeField()),
                ("revoked", models.DateTimeField(null=True)),
                ("last_used", models.DateTimeField(null=True)),
                (
                    "person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="device_tokens",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "db_table": "web_device_token",
            },
        ),
    ]
