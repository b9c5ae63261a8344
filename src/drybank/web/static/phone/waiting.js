// What waits on this phone, what was refused and how to mend it, what reached the book; and this phone itself.
import * as api from "./api.js";
import { button, el, link, notice } from "./dom.js";
import * as keep from "./keep.js";
import { uuid7 } from "./ids.js";
import { send, state } from "./send.js";
import { age, clock, day, spoken, t } from "./words.js";

const said = (line) => t(line.says[0], line.says[1]);

export async function waiting(screen, person) {
  const lines = (await keep.queue(person.handle)).sort((a, b) => a.made - b.made);
  const photos = await keep.photosOf(person.handle);
  const named = photos.filter((p) => p.isNamed);
  const unsent = lines.filter((l) => l.state === "waiting");
  const toMend = lines.filter((l) => l.state !== "waiting");
  const sent = await keep.sent(person.handle);
  const news = sent.filter((line) => line.note && !line.isRead);
  await keep.read(news);
  screen.page([
    el("h1", { tabIndex: -1 }, t("On this phone")),
    el("p", { className: "answer" }, sentence(unsent, toMend, named)),
    signal(),
    toMend.length ? el("h2", {}, t("To mend")) : null,
    ...toMend.map((line) => refusal(screen, person, line)),
    news.length ? el("h2", {}, t("To look at")) : null,
    ...news.map((line) => notice("heed", el("p", {}, el("strong", {}, said(line))), line.note)),
    unsent.length ? el("h2", {}, t("Waiting")) : null,
    el("ul", { className: "review" }, unsent.map((line) => el("li", {}, el("span", {}, said(line)), el("span", { className: "quiet" }, age(line.made))))),
    named.length ? el("p", { className: named.some((p) => p.why) ? "heed" : "quiet" }, named.map((p) => p.why || t("A photo waits.")).join(" ")) : null,
    sent.length ? el("h2", {}, t("In the book")) : null,
    el("ul", { className: "review" }, sent.slice(0, 30).map((line) => el("li", {}, el("span", {}, said(line), line.note ? el("span", { className: "heed block" }, line.note) : null, line.dropped ? el("span", { className: "heed block" }, t("Dropped: {why}", { why: line.dropped })) : null), el("span", { className: "quiet" }, clock(new Date(line.at)))))),
  ], { back: () => (history.length > 1 ? history.back() : screen.go("#/")), next: unsent.length || named.length ? async () => { await send(); await screen.again(); } : null, words: t("Send now") });
}

function sentence(unsent, toMend, photos) {
  const parts = [];
  if (toMend.length) parts.push(t("{n} to mend.", { n: toMend.length }));
  if (unsent.length) parts.push(t("{n} waiting, oldest {age}.", { n: unsent.length, age: age(unsent[0].made) }));
  if (photos.length) parts.push(t("{n} photos waiting.", { n: photos.length }));
  return parts.join(" ") || t("Everything has reached the book.");
}

function signal() {
  const is = {
    "no signal": [t("No signal since {time}. Everything goes on; it is sent by itself later.", { time: clock(state.since) }), ""],
    "log in": [t("The log-in has ended. Log in again to send; nothing is lost."), "heed"],
    another: [t("Somebody else is logged in in this browser. Log in as yourself to send."), "heed"],
    busy: [t("The book is busy. It is tried again by itself."), ""],
    full: [t("This phone is full. Free some room."), "wrong"],
    fault: [t("Sending failed. It is tried again by itself."), "heed"],
  }[state.is];
  if (!is) return null;
  const words = ["log in", "another"].includes(state.is) ? el("p", { className: "acts" }, link(t("Log in"), "/log-in?next=/phone/", "button second")) : null;
  return notice(is[1], is[0], ...(words ? [words] : []));
}

/** A refused entry: what it was, why, how to mend it; corrected under a new id, or given up with a reason. */
function refusal(screen, person, line) {
  const isAsked = line.state === "ask";
  const acts = el("p", { className: "acts" });
  if (isAsked) acts.append(button(t("It shows the same"), async () => {
    const sure = line.entry.body.values.filter((v) => v.shown !== null).map((v) => v.device);
    await keep.setLine({ ...line, state: "waiting", why: "", mend: "", entry: { ...line.entry, sure } });
    await send();
    await screen.again();
  }));
  if (line.form) acts.append(button(t("Correct it"), async () => {
    await keep.setDraft(person.handle, line.form.what, { at: 999, begun: Date.now(), answers: line.form.answers, instead: { id: line.id, part: line.part } });
    screen.go(line.form.route);
  }, isAsked ? "second" : ""));
  else acts.append(button(t("Send it again"), async () => {
    const id = uuid7();
    await keep.again(line, { ...line, id, entry: { ...line.entry, id } });
    await send();
    await screen.again();
  }, "second"));
  acts.append(button(t("Give it up"), () => giveUp(screen, person, line), "second"));
  return el("section", { className: "finding" }, el("h3", {}, said(line)), el("p", { className: "quiet" }, day(line.made)), el("p", { className: "danger" }, line.why), line.mend ? el("p", {}, line.mend) : null, acts);
}

function giveUp(screen, person, line) {
  const input = el("input", { id: "answer", type: "text", autocomplete: "off" });
  const problem = el("p", { id: "problem", className: "problem", role: "alert" });
  screen.form([
    el("p", { className: "where" }, said(line)),
    el("h1", { tabIndex: -1 }, el("label", { htmlFor: "answer" }, t("Why is it given up?"))),
    el("p", { className: "hint" }, t("It will not reach the book. The reason stays in the list on this phone.")),
    input, problem,
  ], {
    back: () => screen.again(),
    next: async () => {
      if (input.value.trim().length < 3) {
        problem.textContent = t("Say why, in a few words.");
        return;
      }
      await keep.drop(line, input.value.trim());
      await screen.again();
    },
    words: t("Give it up"),
    focus: () => input.focus(),
  });
}

// This phone

export async function thisPhone(screen, person) {
  const free = await keep.room();
  const held = await keep.hold();
  screen.page([
    el("h1", { tabIndex: -1 }, t("This phone")),
    el("p", {}, person ? t("{name} is logged in.", { name: person.name || person.handle }) : t("Nobody is logged in.")),
    (await keep.othersWait(person?.handle)) ? notice("heed", t("Entries of somebody else wait on this phone. They go when that person logs in here again.")) : null,
    el("p", {}, free === null ? t("How much room is left is not known.") : t("{n} MB are free for Drybank.", { n: Math.floor(free / 1e6).toLocaleString(spoken()) })),
    held ? null : notice("heed", t("The browser may clear what waits here when the phone runs short of room. Put this page on the home screen: then it keeps it.")),
    el("p", { className: "acts" }, button(spoken() === "es" ? "English" : "Español", () => screen.speak(spoken() === "es" ? "en" : "es"), "second"), link(t("The office pages"), "/", "button second")),
    person ? el("p", { className: "acts" }, button(t("Log out"), () => logOut(screen, person), "second")) : null,
    el("p", { className: "quiet small" }, t("Version {mark}", { mark: document.documentElement.dataset.mark })),
  ], { back: () => screen.go("#/") });
}

async function logOut(screen, person) {
  const n = (await keep.queue(person.handle)).length + (await keep.photosOf(person.handle)).length;
  const out = async () => {
    await keep.leave(person.handle);
    await keep.setFact("leaving", true);
    await finishLeaving();
    location.replace("/phone/");
  };
  if (!n) return out();
  screen.page([
    el("h1", { tabIndex: -1 }, t("Still waiting here: {n}", { n })),
    el("p", {}, t("They stay on this phone, and nobody else sees or sends them. They go to the book when you log in here again.")),
    el("p", { className: "acts" }, button(t("Send now"), async () => { await send(); await thisPhone(screen, person); }), button(t("Log out all the same"), out, "second")),
  ], { back: () => screen.go("#/phone") });
}

/** The server's half of a log-out; done at the next signal where there is none now. */
export async function finishLeaving() {
  if (!(await keep.fact("leaving"))) return;
  try {
    await api.me();
    await api.logOut();
    await keep.setFact("leaving", false);
  } catch (fault) {
    if (fault instanceof api.LogIn) await keep.setFact("leaving", false);
  }
}
