// What this phone holds, in IndexedDB. An entry is here, durably, before any screen says that it is kept.
//
//   facts    who is logged in, the language, the last bag          people   who has used this phone, and where
//   rounds   [who, store]   what to do, fetched with signal        drafts   [who, what]   a form half filled in
//   queue    entries by id, of whoever made them                   photos   [who, sha256]  waiting to go with an entry
//   marks    [who, what]    what was done today                    sent     the last entries that reached the book
//
// A queue belongs to who made it: every reading of it names a person, and no other person's is ever read.
import { openDB } from "./vendor/idb-8.0.4.js";

const NAME = "drybank-phone";
const VERSION = 1;
const ROOM_LEFT = 8_000_000; // bytes to be free before a photo is taken in
const SENT_KEPT = 200;
let opened;

/** The phone has no room: what was typed is still on the screen, and nothing was kept. */
export class Full extends Error {}

export function db() {
  opened ??= openDB(NAME, VERSION, {
    upgrade(base) {
      base.createObjectStore("facts");
      base.createObjectStore("people", { keyPath: "handle" });
      for (const name of ["rounds", "drafts", "photos", "marks"]) base.createObjectStore(name);
      for (const name of ["queue", "sent"]) base.createObjectStore(name, { keyPath: "id" }).createIndex("who", "who");
    },
    blocking(now, next, event) {
      event.target.close();
      opened = undefined;
    },
    terminated() {
      opened = undefined;
    },
  });
  return opened;
}

/** Run a writing transaction that is on the disk when it returns; a full disk becomes `Full`. */
async function write(stores, work) {
  const base = await db();
  const tx = base.transaction(stores, "readwrite", { durability: "strict" });
  try {
    const made = await work(tx);
    await tx.done;
    return made;
  } catch (fault) {
    tx.done.catch(() => {});
    if (fault?.name === "QuotaExceededError" || tx.error?.name === "QuotaExceededError") throw new Full();
    throw fault;
  }
}

export const fact = async (name) => (await db()).get("facts", name);
export const setFact = (name, value) => write(["facts"], (tx) => tx.objectStore("facts").put(value, name));

// Room on this phone

/** How much is free, in bytes; null where the browser does not say. */
export async function room() {
  const found = await navigator.storage?.estimate?.();
  return found?.quota ? found.quota - (found.usage || 0) : null;
}

/** Ask the browser not to clear this away by itself; whether it agreed. */
export const hold = async () => (await navigator.storage?.persisted?.()) || (await navigator.storage?.persist?.()) || false;

// People

export async function arrive(person) {
  await write(["facts", "people", "rounds", "drafts", "marks"], async (tx) => {
    const before = await tx.objectStore("facts").get("who");
    if (before && before !== person.handle) {
      await forget(tx, before);
      await tx.objectStore("people").delete(before);
    }
    await tx.objectStore("people").put(person);
    await tx.objectStore("facts").put(person.handle, "who");
  });
}

/** Who leaves takes their round along; their queue stays, unseen, until they come back. */
export const leave = (who) =>
  write(["facts", "people", "rounds", "drafts", "marks"], async (tx) => {
    await forget(tx, who);
    await tx.objectStore("people").delete(who);
    await tx.objectStore("facts").put("", "who");
  });

async function forget(tx, who) {
  for (const name of ["rounds", "drafts", "marks"]) await tx.objectStore(name).delete(IDBKeyRange.bound([who], [who, []]));
}

export async function here() {
  const who = await fact("who");
  return who ? (await db()).get("people", who) : undefined;
}

/** Whether somebody else's entries wait on this phone: that they do, not what they are. */
export async function othersWait(who) {
  const base = await db();
  return (await base.count("queue")) > (await base.countFromIndex("queue", "who", who || ""));
}

// Rounds

export const setRound = (who, store, round) =>
  write(["rounds"], (tx) => tx.objectStore("rounds").put({ round, fetched: Date.now() }, [who, store]));
export const roundOf = async (who, store) => (await db()).get("rounds", [who, store]);
/** When this phone last heard of the store's book, for the book to say what it knew besides. */
export const heard = async (who, store) => {
  const found = await roundOf(who, store);
  return found ? found.round.made : undefined;
};
export const dropRound = (who, store) => write(["rounds"], (tx) => tx.objectStore("rounds").delete([who, store]));

// Drafts and marks

export const draft = async (who, what) => (await db()).get("drafts", [who, what]);
export const setDraft = (who, what, value) => write(["drafts"], (tx) => tx.objectStore("drafts").put(value, [who, what]));
export const dropDraft = (who, what) => write(["drafts"], (tx) => tx.objectStore("drafts").delete([who, what]));

/** What was done since this time yesterday: a table by what was marked. */
export async function marks(who) {
  const range = IDBKeyRange.bound([who], [who, []]);
  const base = await db();
  const [keys, values] = [await base.getAllKeys("marks", range), await base.getAll("marks", range)];
  const recent = keys.map((key, i) => [key[1], values[i]]).filter(([, at]) => at > Date.now() - 18 * 3600_000);
  return Object.fromEntries(recent);
}
export const mark = (who, names) =>
  write(["marks"], async (tx) => {
    for (const name of names) await tx.objectStore("marks").put(Date.now(), [who, name]);
  });

// The queue

/**
 * Keep a form's entries: all of them with their photos, what they mark as done and the end of the draft, or nothing.
 * Each line is {id, who, store, entry, says, photos, state: "waiting", made}.
 */
export const keep = (who, lines, { photos = [], done = [], draftOf = "", instead = "" } = {}) =>
  write(["queue", "photos", "marks", "drafts"], async (tx) => {
    for (const photo of photos) await tx.objectStore("photos").put(photo, [who, photo.sha256]);
    for (const line of lines) await tx.objectStore("queue").add({ ...line, who, state: "waiting", made: Date.now() });
    for (const name of done) await tx.objectStore("marks").put(Date.now(), [who, name]);
    if (draftOf) await tx.objectStore("drafts").delete([who, draftOf]);
    if (instead) await tx.objectStore("queue").delete(instead);
  });

export async function queue(who) {
  const base = await db();
  return base.getAllFromIndex("queue", "who", who);
}
export const line = async (id, who) => {
  const found = await (await db()).get("queue", id);
  return found?.who === who ? found : undefined;
};

/** The book's answer to one entry: stored ones leave the queue, refused ones stay with the reason. */
export const answered = (answers) =>
  write(["queue", "sent", "photos"], async (tx) => {
    for (const answer of answers) {
      const found = await tx.objectStore("queue").get(answer.id);
      if (!found) continue;
      if (answer.said === "stored" || answer.said === "already") {
        const { id, who, store, says, made, photos } = found;
        await tx.objectStore("sent").put({ id, who, store, says, made, note: answer.note || "", at: Date.now() });
        for (const hash of photos || []) {
          const photo = await tx.objectStore("photos").get([who, hash]);
          if (photo) await tx.objectStore("photos").put({ ...photo, isNamed: true }, [who, hash]);
        }
        await tx.objectStore("queue").delete(id);
      } else {
        await tx.objectStore("queue").put({ ...found, state: answer.said, why: answer.why, mend: answer.mend || "" });
      }
    }
  });
/** Send once more what was asked about: the same entry, its devices named as read twice. */
export const setLine = (line) => write(["queue"], (tx) => tx.objectStore("queue").put(line));

/** The same entry under a new id, in the old one's place. */
export const again = (old, line) =>
  write(["queue"], async (tx) => {
    await tx.objectStore("queue").delete(old.id);
    await tx.objectStore("queue").add({ ...line, state: "waiting", why: "", mend: "", made: Date.now() });
  });

/** A refused entry given up, with who and why: it stays in the list of what was sent, so that nothing is silently lost. */
export const drop = (line, reason) =>
  write(["queue", "sent", "photos"], async (tx) => {
    const { id, who, store, says, made } = line;
    await tx.objectStore("sent").put({ id, who, store, says, made, dropped: reason, note: "", at: Date.now() });
    for (const one of line.photos || []) await tx.objectStore("photos").delete([who, one]);
    await tx.objectStore("queue").delete(id);
  });

/** What the book said of entries that it took (another's work on the same thing, a test's verdict) and nobody read yet. */
export const unread = async (who) => (await sent(who)).filter((one) => one.note && !one.isRead);
export const read = (lines) =>
  write(["sent"], async (tx) => {
    for (const one of lines) await tx.objectStore("sent").put({ ...one, isRead: true });
  });

export async function sent(who) {
  const base = await db();
  const all = (await base.getAllFromIndex("sent", "who", who)).sort((a, b) => b.at - a.at);
  for (const old of all.slice(SENT_KEPT)) await base.delete("sent", old.id);
  return all.slice(0, SENT_KEPT);
}

/** This person's readings of the last hours, newest first, for a setting change to name. */
export async function readings(who) {
  const all = [...(await queue(who)), ...(await sent(who))];
  return all.filter((one) => one.says[0] === "Reading, machine {machine}" && one.made > Date.now() - 6 * 3600_000).sort((a, b) => b.made - a.made);
}

// Photos

/** Photos whose entry the book holds by now. */
export const photosToSend = async (who) => (await photosOf(who)).filter((one) => one.isNamed && !one.why);
export const photosOf = async (who) => (await db()).getAll("photos", IDBKeyRange.bound([who], [who, []]));
export const photoSent = (who, photo) => write(["photos"], (tx) => tx.objectStore("photos").delete([who, photo.sha256]));
export const photoRefused = (who, photo, why) =>
  write(["photos"], (tx) => tx.objectStore("photos").put({ ...photo, why }, [who, photo.sha256]));

/** Refuse before anything is lost: a photo needs room for itself and for what is still to be typed. */
export async function roomForPhoto(size) {
  const free = await room();
  if (free !== null && free < size + ROOM_LEFT) throw new Full();
}
