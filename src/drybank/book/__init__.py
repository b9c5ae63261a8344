"""The book: append, correct, query, verify, import, export, back up (SQLite or PostgreSQL).

The port, as others code to it (nothing here imports Django until a book is opened)::

    book = open_book(path_or_postgres_url, *, create=False, clock=utc_now, alias="")      -> Book (a context manager)
    book.append(entries, *, expected_tip=None)      -> list[Booked]     one transaction: all of them or none
        same id + same content gives the earlier Booked back; same id + other content: DuplicateDiffers
        expected_tip {store: tip}: TipMoved if somebody appended in between ("" stands for a chain not begun)
        refused (InputError, Missing): happened over a day ahead of the clock; a store whose chain does not begin with a
        StoreDated; a correction of an unknown entry, of another store's, of a correction, or with another kind of body
    book.stores()                                   -> tuple[str, ...]
    book.tip(store)                                 -> str              hash of the last entry, "" if there is none
    book.chain(store, after_seq=0)                  -> Iterator[Booked] as written, in order of booking
    book.find(entry_id)                             -> Booked           Missing if unknown
    book.story(store, *, kinds=(), since=None, until=None, with_taken_back=False) -> list[Told]
        corrections folded in, ordered by happened, then seq; ``since`` is included, ``until`` is not; correction entries
        themselves only when asked for by kind. Told: .id .entry .body .kind .happened .by .seq .booked .corrected_by
        .original .is_taken_back
    as of a moment (``when``: an aware datetime, or a date, which means the end of that day in the store's own zone)
    book.store_at(store, when)                      -> Store
    book.sheets_at(store, when)                     -> dict[str, ControlSheet]
    book.house_at(store, bank, when)                -> HouseSettings    () where nothing was adopted
    book.settings_at(store, when)                   -> dict[str, Values]  control -> setting -> whole number
    book.sheet_state(store, sheet, when=None)       -> SheetState       typed in, or read back: at which control, by whom, when
    book.waivers_at(store, when)                    -> dict[tuple[str, str], Told]   (bank, check) -> the waiver
    book.verify(store=None, seals=())               -> VerifyReport     .is_whole .faults .notices .sentence()
    book.seal(store, *, by, origin, where="")       -> Seal             to print or mail; Seal.line() / Seal.read(line)
    book.backup(path)                               -> Backup           online copy, whole-file SHA-256 beside it
    book.export(out, stores=None, with_kept=False)  -> Exported         JSON Lines, lossless
    book.import_lines(lines, *, if_moved="refuse")  -> Imported         "append" keeps the old hash; all or nothing
    book.keep(what, text_or_bytes)                  -> Kept             beside the chain, salted hash
    book.kept(sha256)                               -> bytes | None     None once erased; Missing if never kept
    book.erase(sha256)                              -> None             the chain still verifies
    book.doubts                                     -> dict[str, str]   stores whose chain does not hold: show it; no appends
    book.grant(role)                                -> None             PostgreSQL: an application role's rights
    book.close()

    new_entry(store, happened, by, origin, body, *, clock=utc_now) -> Entry   with an id of its own (UUIDv7)
    restore(backup, to) · salvage(damaged, to) · move(book, to)

Modules: columns, packing and snapshot (numbers beside the book), spool (an import on its way), chain (canonical text, hash), rules (what may not be booked), placing (an arrival's place in its chain), story (folds over
entries), ledger (Book), rows (the only user of the ORM), database (opening, migrations), verify, lines (JSON Lines),
backup (copies, salvage, move), wreck (a damaged file read page by page), beside (what can be erased), models and
migrations (tables, triggers); files (store files, sheets and histories in and out) is a room of its own.
"""

from drybank.book.backup import Backup, Moved, Salvaged, checksum_path, file_sha256, move, restore, salvage
from drybank.book.beside import What
from drybank.book.database import SAFE_WAL, BookWarning, connection_settings, is_postgres, name_of, prepare_sqlite
from drybank.book.ledger import Book, new_entry, open_book, utc_now
from drybank.book.lines import Exported, Imported
from drybank.book.story import ReadBack, SheetState, Told, day_start
from drybank.book.verify import WHAT_IT_PROVES, ChainFault, Seal, StoreChecked, VerifyReport

__all__ = [
    "SAFE_WAL",
    "WHAT_IT_PROVES",
    "Backup",
    "Book",
    "BookWarning",
    "ChainFault",
    "Exported",
    "Imported",
    "Moved",
    "ReadBack",
    "Salvaged",
    "Seal",
    "SheetState",
    "StoreChecked",
    "Told",
    "VerifyReport",
    "What",
    "checksum_path",
    "connection_settings",
    "day_start",
    "file_sha256",
    "is_postgres",
    "move",
    "name_of",
    "new_entry",
    "open_book",
    "prepare_sqlite",
    "restore",
    "salvage",
    "utc_now",
]
