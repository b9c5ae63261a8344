// The phone round: which screen, what stands above it, and the worker that makes it open without signal.
import { el, link, notice } from "./dom.js";
import * as api from "./api.js";
import { runForm } from "./form.js";
import * as keep from "./keep.js";
import { emptyFlow, readFlow } from "./flow_read.js";
import { claimFlow, countFlow, handOverFlow, refundFlow } from "./flow_cash.js";
import { jobsFlow, noteFlow, outageFlow } from "./flow_more.js";
import { changeDay, setFlow, signFlow } from "./flow_set.js";
import { coinTestFlow, heatFlow, timeFlow } from "./flow_test.js";
import { watchCustomers } from "./watch.js";
import { controls, home, machine, stops, tasksAt } from "./stops.js";
import { send, state, watch, whoIsThere } from "./send.js";
import { finishLeaving, thisPhone, waiting } from "./waiting.js";
import { age, clock, loadWords, speak, t } from "./words.js";

const main = document.getElementById("main");
const bar = document.getElementById("thumb");
const top = document.getElementById("waiting");
const flash = document.getElementById("flash");
const FORMAT = 1; // of the round
let person;
let stopping = () => {};
let saying = null; // what the next screen says above itself

const screen = {
  page(parts, { back, next, words } = {}) {
    stopping();
    stopping = () => {};
    main.replaceChildren(...parts.filter(Boolean));
    thumb(back, next, words);
    window.scrollTo(0, 0);
    main.querySelector("h1")?.focus({ preventScroll: true });
  },
  form(parts, { back, next, words, extra = [], focus, stop }) {
    const form = el("form", { id: "form", noValidate: true, onsubmit: (event) => { event.preventDefault(); next?.(); } }, ...parts);
    if (extra.length) form.append(el("p", { className: "acts" }, extra));
    this.page([form], { back, next, words });
    if (stop) stopping = stop;
    focus?.();
  },
  go(to, replace = false) {
    if (replace) location.replace(to);
    else if (location.hash === to) show();
    else location.hash = to;
  },
  again: () => show(),
  alarm(words) {
    flash.replaceChildren(notice("wrong", words));
  },
  kept(to, lines) {
    saying = notice("", lines.length ? t("Kept on this phone.") : t("Nothing was given to keep."));
    this.go(to);
    send();
  },
  async speak(language) {
    speak(language);
    await keep.setFact("language", language);
    frame();
    await show();
  },
  async fetchRound(store) {
    flash.replaceChildren(notice("", t("Fetching the round.")));
    const problem = await fetchRound(store);
    saying = problem ? notice("heed", problem) : null;
    await show();
  },
};

function thumb(back, next, words) {
  bar.replaceChildren(
    back ? el("button", { type: "button", className: "second", onclick: back }, t("Back")) : el("span"),
    next ? el("button", { type: "button", id: "next", onclick: next }, words || t("Next")) : el("span"),
  );
  bar.hidden = !back && !next;
}

/** What is still unsent, always in sight. */
async function tell() {
  if (!person) return top.replaceChildren();
  const lines = await keep.queue(person.handle);
  const toMend = lines.filter((l) => l.state !== "waiting").length;
  const unsent = lines.filter((l) => l.state === "waiting");
  const news = (await keep.unread(person.handle)).length;
  const words = [
    toMend && t("{n} to mend", { n: toMend }),
    !toMend && news && t("{n} to look at", { n: news }),
    unsent.length && t("{n} waiting, oldest {age}", { n: unsent.length, age: age(Math.min(...unsent.map((l) => l.made))) }),
  ].filter(Boolean).join(" · ") || (state.is === "no signal" ? t("No signal since {time}", { time: clock(state.since) }) : t("All sent"));
  const log = ["log in", "another"].includes(state.is) && unsent.length ? ` · ${t("Log in")}` : "";
  top.replaceChildren(link(words + log, "#/waiting", toMend || news || log ? "heed" : unsent.length ? "" : "quiet"));
}

function frame() {
  const menu = document.getElementById("menu");
  menu.replaceChildren(link(t("Stops"), "#/", ""), link(t("This phone"), "#/phone", ""));
  document.getElementById("skip").textContent = t("To the page");
}

async function fetchRound(store) {
  try {
    const round = await api.round(store);
    await keep.setRound(person.handle, store, round);
    return clockOff(round);
  } catch (fault) {
    if (fault instanceof keep.Full) return t("This phone is full: the round was not kept. Free some room.");
    if (fault instanceof api.NoSignal) return t("No signal: the round is the one from before.");
    if (fault instanceof api.LogIn) return t("The log-in has ended. Log in again to send; nothing is lost.");
    if (fault instanceof api.No) return fault.message || t("This store is not open to you.");
    return t("The book is busy. Try again in a minute.");
  }
}

/** Entries are dated by this phone's clock; where it is off from the book's, that is said before anything is written. */
function clockOff(round) {
  const off = Math.round((Date.now() - Date.parse(round.made)) / 60000);
  return Math.abs(off) > 5 ? t("This phone's clock is {n} min off. Set it right before you write anything.", { n: Math.abs(off) }) : "";
}

/** Everything a screen of one store needs. */
async function context(store) {
  const found = await keep.roundOf(person.handle, store);
  if (found?.round.format !== FORMAT) return null; // none yet, or of another version
  const { round, fetched } = found;
  const marks = await keep.marks(person.handle);
  const ctx = {
    store, round, fetched, marks, who: person.handle, lastBag: await keep.fact(`bag ${store}`),
    may: (kind) => round.kinds.includes(kind),
    keepBag: (bag) => keep.setFact(`bag ${store}`, bag),
    readings: await keep.readings(person.handle),
    readingAt(at) {
      return this.readings.find((line) => line.store === store && line.says[1].machine === at)?.id || "";
    },
    bankName: (key) => round.banks.find((b) => b.key === key)?.name || key,
    nextStop(after) {
      const at = after ? round.stops.findIndex((s) => s.machine === after.machine) : -1;
      const next = round.stops.slice(at + 1).find((s) => tasksAt(ctx, s).some((task) => !marks[task.mark]));
      return next ? `#/s/${store}/m/${encodeURIComponent(next.machine || "room")}` : "";
    },
  };
  return ctx;
}

const FLOWS = { empty: emptyFlow, count: countFlow, "hand-over": handOverFlow, claim: claimFlow, refund: refundFlow, note: (ctx) => noteFlow(ctx) };
const AT_STOP = { read: readFlow, jobs: jobsFlow, note: noteFlow, outage: outageFlow, time: timeFlow, heat: heatFlow };

let turn = 0; // a screen that waited for something does not draw over a later one

async function show() {
  turn += 1;
  const mine = turn;
  flash.replaceChildren(...(saying ? [saying] : []));
  saying = null;
  await tell();
  const parts = location.hash.replace(/^#\/?/, "").split("/").filter(Boolean).map(decodeURIComponent);
  if (parts[0] === "phone") return thisPhone(screen, person);
  if (!person) return logInFirst();
  if (parts[0] === "waiting") return waiting(screen, person);
  if (parts[0] !== "s") return home(screen, person);
  const store = parts[1];
  let ctx = await context(store);
  if (mine !== turn) return;
  if (!ctx) {
    const problem = await firstRound(store);
    if (mine !== turn) return;
    ctx = await context(store);
    if (!ctx) return screen.page([el("h1", { tabIndex: -1 }, t("No round yet")), el("p", {}, problem), el("p", {}, t("Fetch it once with signal; then it is here without."))], { back: () => screen.go("#/"), next: () => show(), words: t("Try again") });
  }
  return inStore(ctx, parts.slice(2));
}

async function firstRound(store) {
  screen.page([el("h1", { tabIndex: -1 }, t("Fetching the round.")), el("p", { className: "quiet" }, t("Machines, meters, jobs and cautions, to take along."))]);
  return fetchRound(store);
}

async function inStore(ctx, [first, second, third, fourth]) {
  if (!first) return stops(screen, ctx);
  if (first in FLOWS) return runForm(screen, ctx.who, FLOWS[first](ctx));
  if (first === "watch") return watchCustomers(screen, ctx);
  if (first === "day") return onChangeDay(ctx, second, third, fourth);
  const stop = first === "m" && ctx.round.stops.find((s) => (s.machine || "room") === second);
  if (!stop) return screen.go(`#/s/${ctx.store}`, true);
  if (!third) return machine(screen, ctx, stop);
  if (third in AT_STOP) return runForm(screen, ctx.who, AT_STOP[third](ctx, stop));
  if (!fourth) return controls(screen, ctx, stop);
  return runForm(screen, ctx.who, setFlow(ctx, stop, fourth));
}

function onChangeDay(ctx, bank, what, key) {
  if (what === "down" || what === "up") return runForm(screen, ctx.who, signFlow(ctx, bank, what));
  if (what === "test") return runForm(screen, ctx.who, coinTestFlow(ctx, bank, key));
  return changeDay(screen, ctx, bank);
}

function logInFirst() {
  screen.page([
    el("h1", { tabIndex: -1 }, t("The round")),
    el("p", { className: "answer" }, t("Log in once with signal. Then the round is on this phone, also where there is none.")),
    el("p", {}, link(t("Log in"), "/log-in?next=/phone/", "button")),
  ]);
}

async function start() {
  await loadWords();
  person = await keep.here();
  speak((await keep.fact("language")) || person?.language || navigator.language.slice(0, 2));
  frame();
  watch(tell);
  window.addEventListener("hashchange", show);
  window.addEventListener("online", send);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
  setInterval(tell, 20_000);
  if (person) await show();
  await arrived();
  worker();
}

/** Who the server says is here: the same person, another, or nobody. */
async function arrived() {
  await finishLeaving();
  const there = (await keep.fact("leaving")) ? null : await whoIsThere();
  const before = person?.handle;
  if (there) {
    const { handle, name, language, stores } = there;
    await keep.arrive({ handle, name, language, stores });
    person = await keep.here();
    if (!(await keep.fact("language"))) speak(language || navigator.language.slice(0, 2));
    frame();
    keep.hold();
  }
  if (person?.handle !== before || !before) await show();
  else await tell();
  if (there) await send();
  if (there) await freshRounds();
}

/** Rounds that are on this phone and older than an hour are fetched anew while there is signal. */
async function freshRounds() {
  for (const { store } of person.stores) {
    const found = await keep.roundOf(person.handle, store);
    if (found && Date.now() - found.fetched > 3600_000) await fetchRound(store);
  }
}

/** A newer version waits until it is taken: never in the middle of a form. */
async function worker() {
  if (!navigator.serviceWorker) return;
  const found = await navigator.serviceWorker.register("/phone/worker.js", { type: "classic", scope: "/phone/" });
  const offer = (one) => {
    if (!one || !navigator.serviceWorker.controller) return;
    const take = () => one.postMessage("take over");
    flash.append(notice("", t("A newer version is here."), el("p", {}, el("button", { type: "button", className: "second", onclick: take }, t("Take it now")))));
  };
  if (found.waiting) offer(found.waiting);
  found.addEventListener("updatefound", () => {
    const one = found.installing;
    one?.addEventListener("statechange", () => one.state === "installed" && offer(one));
  });
  let isTaken = !navigator.serviceWorker.controller;
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    if (isTaken) isTaken = false;
    else location.reload();
  });
}

window.addEventListener("unhandledrejection", (event) => {
  console.error(event.reason);
  screen.alarm(t("Something failed on this phone. What was kept is not lost. Open the page again."));
});
start();
