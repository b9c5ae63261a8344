// Entries go to the book when it can be reached: in the order in which they were made, each until the book has answered.
//
// An id is made once, with the entry; sending it twice stores it once. So whatever happens between sending and the answer (no
// signal, a killed browser, a session that ended), the entry stays in the queue and is sent again. Two tabs take turns.
import * as api from "./api.js";
import * as keep from "./keep.js";

const MOST = 10; // entries in one go
const BYTES = 1_500_000;
const PAUSE = [5, 15, 60, 180, 300]; // seconds between tries without signal
export const state = { is: "new", since: Date.now(), busy: false };
const watchers = new Set();
let timer = 0;
let tries = 0;

export const watch = (tell) => watchers.add(tell);

function become(is) {
  if (state.is !== is) Object.assign(state, { is, since: Date.now() });
  for (const tell of watchers) tell();
}

/** Who the server says is here; null without signal or when nobody is logged in. */
export async function whoIsThere() {
  try {
    const person = await api.me();
    become("online");
    return person;
  } catch (fault) {
    become(nameOf(fault));
    return null;
  }
}

const nameOf = (fault) =>
  fault instanceof api.NoSignal ? "no signal" : fault instanceof api.LogIn ? "log in" : fault instanceof api.Busy ? "busy" : "fault";

/** Send what waits, once at a time on this phone; tries again by itself. */
export async function send() {
  clearTimeout(timer);
  const who = await keep.fact("who");
  if (!who || state.busy) return;
  state.busy = true;
  let pause = 0;
  try {
    await navigator.locks.request("drybank-send", () => sendAll(who));
    tries = 0;
  } catch (fault) {
    if (fault instanceof keep.Full) become("full");
    else become(nameOf(fault));
    pause = fault instanceof api.Busy ? fault.seconds : PAUSE[Math.min(tries++, PAUSE.length - 1)];
    if (nameOf(fault) === "fault") console.warn("send", fault);
  } finally {
    state.busy = false;
    for (const tell of watchers) tell();
  }
  if (pause && state.is !== "log in") timer = setTimeout(send, pause * 1000);
}

async function sendAll(who) {
  const waiting = async () => (await keep.queue(who)).filter((line) => line.state === "waiting");
  let lines = await waiting();
  if (!lines.length && state.is === "online" && !(await keep.photosToSend(who)).length) return;
  const person = await api.me(); // also brings the mark that every form must carry; it changes with every log-in
  if (person.handle !== who) {
    become("another");
    return;
  }
  become("online");
  for (let alone = false; lines.length; lines = await waiting()) {
    const store = lines[0].store;
    const some = fitting(lines.filter((line) => line.store === store), alone ? 1 : MOST);
    alone = !(await sendSome(store, some));
    for (const tell of watchers) tell();
  }
  await sendPhotos(who);
}

function fitting(lines, most) {
  const out = [];
  let bytes = 0;
  for (const line of lines.slice(0, most)) {
    bytes += JSON.stringify(line.entry).length;
    if (out.length && bytes > BYTES) break;
    out.push(line);
  }
  return out;
}

/** Send some entries of one store; false where the server refused them together, and they are to be sent one by one. */
async function sendSome(store, lines) {
  try {
    const { answers } = await api.entries(store, lines.map((line) => line.entry), await keep.heard(lines[0].who, store));
    await keep.answered(answers);
    if (!answers.some((answer) => lines.some((line) => line.id === answer.id))) throw new api.Busy(60); // try later, lose nothing
    return true;
  } catch (fault) {
    if (!(fault instanceof api.No)) throw fault;
    if (lines.length > 1) return false;
    await keep.answered([{ id: lines[0].id, said: "refused", why: fault.message, mend: fault.mend }]);
    return true;
  }
}

/** Photos of entries that are in the book; each is known by the hash that its entry names, so that it is kept once. */
async function sendPhotos(who) {
  for (const photo of await keep.photosToSend(who)) {
    try {
      await api.photo(photo);
    } catch (fault) {
      if (!(fault instanceof api.No)) throw fault;
      await keep.photoRefused(who, photo, fault.message);
      continue;
    }
    await keep.photoSent(who, photo);
  }
}
