"""The guards: triggers by which the database itself refuses to change, remove or slip in an entry.

They are put up with the schema, looked for on every opening, and put back where they are missing: a later schema step may
drop a table's triggers with it, and so may somebody who means to change an entry. `Book.verify` tells of the latter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from django.db.backends.base.base import BaseDatabaseWrapper

SAYS = "the book is append-only"

SQLITE = {
    "book_entry_never_changed": f"""BEFORE UPDATE ON book_entry BEGIN
        SELECT RAISE(ABORT, '{SAYS}: an entry is never changed, only corrected by a later one'); END""",
    "book_entry_never_removed": f"""BEFORE DELETE ON book_entry BEGIN
        SELECT RAISE(ABORT, '{SAYS}: an entry is never removed'); END""",
    # INSERT OR REPLACE would remove the old row without asking the trigger above.
    "book_entry_follows": f"""BEFORE INSERT ON book_entry BEGIN
        SELECT RAISE(ABORT, '{SAYS}: an entry of that id is there already')
          WHERE EXISTS (SELECT 1 FROM book_entry WHERE id = NEW.id);
        SELECT RAISE(ABORT, '{SAYS}: an entry follows the last one of its store')
          WHERE NEW.seq <> 1 + coalesce((SELECT max(seq) FROM book_entry WHERE store = NEW.store), 0)
             OR NEW.prev <> coalesce((SELECT hash FROM book_entry WHERE store = NEW.store AND seq = NEW.seq - 1), '');
        END""",
    "book_head_moves_on": f"""BEFORE UPDATE ON book_head WHEN NEW.store <> OLD.store OR NEW.seq <= OLD.seq BEGIN
        SELECT RAISE(ABORT, '{SAYS}: the head of a chain only moves on'); END""",
    "book_head_never_removed": f"""BEFORE DELETE ON book_head BEGIN
        SELECT RAISE(ABORT, '{SAYS}: the head of a chain is never removed'); END""",
    "book_kept_only_erased": """BEFORE UPDATE ON book_kept
        WHEN NEW.sha256 <> OLD.sha256 OR NEW.what <> OLD.what OR NEW.erased = '' OR length(NEW.content) > 0 BEGIN
        SELECT RAISE(ABORT, 'what lies beside the chain is erased or left as it is'); END""",
    "book_kept_never_removed": """BEFORE DELETE ON book_kept BEGIN
        SELECT RAISE(ABORT, 'what lies beside the chain is erased, its line stays'); END""",
}

FUNCTIONS = f"""
CREATE OR REPLACE FUNCTION book_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '{SAYS}: % on % refused', TG_OP, TG_TABLE_NAME USING ERRCODE = '23001'; END $$;

CREATE OR REPLACE FUNCTION book_follows() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE last record;
BEGIN
  SELECT seq, hash INTO last FROM book_entry WHERE store = NEW.store ORDER BY seq DESC LIMIT 1;
  IF NEW.seq <> coalesce(last.seq, 0) + 1 OR NEW.prev <> coalesce(last.hash, '') THEN
    RAISE EXCEPTION '{SAYS}: an entry follows the last one of its store' USING ERRCODE = '23001';
  END IF;
  RETURN NEW;
END $$;

CREATE OR REPLACE FUNCTION book_head_moves() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.store <> OLD.store OR NEW.seq <= OLD.seq THEN
    RAISE EXCEPTION '{SAYS}: the head of a chain only moves on' USING ERRCODE = '23001';
  END IF;
  RETURN NEW;
END $$;

CREATE OR REPLACE FUNCTION book_kept_erases() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.sha256 <> OLD.sha256 OR NEW.what <> OLD.what OR NEW.erased = '' OR length(NEW.content) > 0 THEN
    RAISE EXCEPTION 'what lies beside the chain is erased or left as it is' USING ERRCODE = '23001';
  END IF;
  RETURN NEW;
END $$;
"""

POSTGRES = {
    "book_entry_never_changed": "BEFORE UPDATE OR DELETE ON book_entry FOR EACH ROW EXECUTE FUNCTION book_refuse()",
    "book_entry_never_emptied": "BEFORE TRUNCATE ON book_entry FOR EACH STATEMENT EXECUTE FUNCTION book_refuse()",
    "book_entry_follows": "BEFORE INSERT ON book_entry FOR EACH ROW EXECUTE FUNCTION book_follows()",
    "book_head_moves_on": "BEFORE UPDATE ON book_head FOR EACH ROW EXECUTE FUNCTION book_head_moves()",
    "book_head_never_removed": "BEFORE DELETE ON book_head FOR EACH ROW EXECUTE FUNCTION book_refuse()",
    "book_head_never_emptied": "BEFORE TRUNCATE ON book_head FOR EACH STATEMENT EXECUTE FUNCTION book_refuse()",
    "book_kept_only_erased": "BEFORE UPDATE ON book_kept FOR EACH ROW EXECUTE FUNCTION book_kept_erases()",
    "book_kept_never_removed": "BEFORE DELETE ON book_kept FOR EACH ROW EXECUTE FUNCTION book_refuse()",
    "book_kept_never_emptied": "BEFORE TRUNCATE ON book_kept FOR EACH STATEMENT EXECUTE FUNCTION book_refuse()",
}

RIGHTS = """
REVOKE UPDATE, DELETE, TRUNCATE ON book_entry FROM PUBLIC, CURRENT_USER;
REVOKE DELETE, TRUNCATE ON book_head, book_kept FROM PUBLIC, CURRENT_USER;
"""

MARK = 1146247490
"""The letters DRYB as SQLite's application_id, by which a stray file is told (``file`` prints it)."""


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Guards that are not up, or switched off."""
    is_postgres = connection.vendor == "postgresql"
    query = (
        "SELECT tgname FROM pg_trigger WHERE tgenabled <> 'D' AND tgrelid IN"
        " ('book_entry'::regclass, 'book_head'::regclass, 'book_kept'::regclass)"
        if is_postgres
        else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        up = {name for (name,) in cursor.fetchall()}
    return sorted(set(POSTGRES if is_postgres else SQLITE) - up)


def can_put_up(connection: BaseDatabaseWrapper) -> bool:
    """Whether this role owns the tables; whoever can write a file can put its guards up."""
    if connection.vendor != "postgresql":
        return True
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_has_role(relowner, 'USAGE') FROM pg_class WHERE oid = 'book_entry'::regclass")
        return bool(cursor.fetchone()[0])


def put_up(connection: BaseDatabaseWrapper) -> None:
    """Put up every guard that is missing; on PostgreSQL this is for the owner of the tables."""
    away = missing(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(FUNCTIONS)
            for name in away:
                table = POSTGRES[name].split(" ON ")[1].split()[0]
                cursor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}")
                cursor.execute(f"CREATE TRIGGER {name} {POSTGRES[name]}")
            cursor.execute(RIGHTS)
        else:
            for name in away:
                cursor.execute(f"CREATE TRIGGER {name} {SQLITE[name]}")
            cursor.execute(f"PRAGMA application_id = {MARK}")
