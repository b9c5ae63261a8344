"""Entries, the heads of their chains, and what lies beside them; append-only by trigger on both databases."""

from __future__ import annotations

from typing import ClassVar

from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

SQLITE = """
CREATE TRIGGER book_entry_never_changed BEFORE UPDATE ON book_entry BEGIN
  SELECT RAISE(ABORT, 'the book is append-only: an entry is never changed, only corrected by a later one'); END;
CREATE TRIGGER book_entry_never_removed BEFORE DELETE ON book_entry BEGIN
  SELECT RAISE(ABORT, 'the book is append-only: an entry is never removed'); END;
CREATE TRIGGER book_entry_follows BEFORE INSERT ON book_entry BEGIN
  SELECT RAISE(ABORT, 'the book is append-only: an entry of that id is there already')
    WHERE EXISTS (SELECT 1 FROM book_entry WHERE id = NEW.id);
  SELECT RAISE(ABORT, 'the book is append-only: an entry follows the last one of its store')
    WHERE NEW.seq <> 1 + coalesce((SELECT max(seq) FROM book_entry WHERE store = NEW.store), 0)
       OR NEW.prev <> coalesce((SELECT hash FROM book_entry WHERE store = NEW.store AND seq = NEW.seq - 1), '');
END;
CREATE TRIGGER book_head_moves_on BEFORE UPDATE ON book_head
  WHEN NEW.store <> OLD.store OR NEW.seq <= OLD.seq BEGIN
  SELECT RAISE(ABORT, 'the book is append-only: the head of a chain only moves on'); END;
CREATE TRIGGER book_head_never_removed BEFORE DELETE ON book_head BEGIN
  SELECT RAISE(ABORT, 'the book is append-only: the head of a chain is never removed'); END;
CREATE TRIGGER book_kept_only_erased BEFORE UPDATE ON book_kept
  WHEN NEW.sha256 <> OLD.sha256 OR NEW.what <> OLD.what OR NEW.erased = '' OR length(NEW.content) > 0 BEGIN
  SELECT RAISE(ABORT, 'what lies beside the chain is erased or left as it is'); END;
CREATE TRIGGER book_kept_never_removed BEFORE DELETE ON book_kept BEGIN
  SELECT RAISE(ABORT, 'what lies beside the chain is erased, its line stays'); END;
"""

POSTGRES = """
CREATE FUNCTION book_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'the book is append-only: % on % refused', TG_OP, TG_TABLE_NAME USING ERRCODE = '23001'; END $$;

CREATE FUNCTION book_follows() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE last record;
BEGIN
  SELECT seq, hash INTO last FROM book_entry WHERE store = NEW.store ORDER BY seq DESC LIMIT 1;
  IF NEW.seq <> coalesce(last.seq, 0) + 1 OR NEW.prev <> coalesce(last.hash, '') THEN
    RAISE EXCEPTION 'the book is append-only: an entry follows the last one of its store' USING ERRCODE = '23001';
  END IF;
  RETURN NEW;
END $$;

CREATE FUNCTION book_head_moves() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.store <> OLD.store OR NEW.seq <= OLD.seq THEN
    RAISE EXCEPTION 'the book is append-only: the head of a chain only moves on' USING ERRCODE = '23001';
  END IF;
  RETURN NEW;
END $$;

CREATE FUNCTION book_kept_erases() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.sha256 <> OLD.sha256 OR NEW.what <> OLD.what OR NEW.erased = '' OR length(NEW.content) > 0 THEN
    RAISE EXCEPTION 'what lies beside the chain is erased or left as it is' USING ERRCODE = '23001';
  END IF;
  RETURN NEW;
END $$;

CREATE TRIGGER book_entry_never_changed BEFORE UPDATE OR DELETE ON book_entry
  FOR EACH ROW EXECUTE FUNCTION book_refuse();
CREATE TRIGGER book_entry_never_emptied BEFORE TRUNCATE ON book_entry
  FOR EACH STATEMENT EXECUTE FUNCTION book_refuse();
CREATE TRIGGER book_entry_follows BEFORE INSERT ON book_entry FOR EACH ROW EXECUTE FUNCTION book_follows();
CREATE TRIGGER book_head_moves_on BEFORE UPDATE ON book_head FOR EACH ROW EXECUTE FUNCTION book_head_moves();
CREATE TRIGGER book_head_never_removed BEFORE DELETE ON book_head FOR EACH ROW EXECUTE FUNCTION book_refuse();
CREATE TRIGGER book_head_never_emptied BEFORE TRUNCATE ON book_head
  FOR EACH STATEMENT EXECUTE FUNCTION book_refuse();
CREATE TRIGGER book_kept_only_erased BEFORE UPDATE ON book_kept FOR EACH ROW EXECUTE FUNCTION book_kept_erases();
CREATE TRIGGER book_kept_never_removed BEFORE DELETE ON book_kept FOR EACH ROW EXECUTE FUNCTION book_refuse();
CREATE TRIGGER book_kept_never_emptied BEFORE TRUNCATE ON book_kept
  FOR EACH STATEMENT EXECUTE FUNCTION book_refuse();

REVOKE UPDATE, DELETE, TRUNCATE ON book_entry FROM PUBLIC, CURRENT_USER;
REVOKE DELETE, TRUNCATE ON book_head, book_kept FROM PUBLIC, CURRENT_USER;
"""

SQLITE_MARK = "PRAGMA application_id = 1146247490"
"""The four letters DRYB in the file's header (application_id), so that a stray file is told apart at once."""


def guard(apps: object, editor: BaseDatabaseSchemaEditor) -> None:
    """Triggers, and for PostgreSQL the revoked rights."""
    if editor.connection.vendor == "postgresql":
        editor.execute(POSTGRES, params=None)
        return
    with editor.connection.cursor() as cursor:
        for statement in SQLITE.split("END;"):
            if statement.strip():
                cursor.execute(statement + "END;")
        cursor.execute(SQLITE_MARK)


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
