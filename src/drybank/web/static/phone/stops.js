// The way through a store: stores, stops in walking order, one machine's card with its cautions first.
import { button, el, link, notice } from "./dom.js";
import { powerWords } from "./flow_more.js";
import * as keep from "./keep.js";
import { age, both, day, t } from "./words.js";

const WORKS = ["setting change", "proof", "service"];

const toChange = (n) => (n === 1 ? t("one setting to change") : t("{n} settings to change", { n }));

/** What there is to do at a stop for this person, and what of it is done: [key, words, route part, mark]. */
export function tasksAt(ctx, stop) {
  const may = new Set(ctx.round.kinds);
  const mark = (what) => `${what} ${ctx.store} ${stop.machine}`;
  const toSet = stop.controls.filter((c) => c.lines.some((l) => l.to_set !== null));
  return [
    may.has("reading") && stop.devices.length && { words: t("Read"), route: "read", mark: mark("read"), hint: t("{n} to read", { n: stop.devices.length }) },
    may.has("setting change") && toSet.length && { words: t("Set"), route: "set", mark: mark("set"), hint: toChange(toSet.reduce((n, c) => n + c.lines.filter((l) => l.to_set !== null).length, 0)) },
    may.has("service") && stop.sheets.length && { words: t("Jobs"), route: "jobs", mark: mark("jobs"), hint: stop.sheets.flatMap((s) => s.jobs.map((j) => both(j.name))).join(", ") },
  ].filter(Boolean);
}

const name = (stop) => (stop.machine ? t("Machine {machine}", { machine: stop.machine }) : t("The room"));
const path = (ctx, stop) => `#/s/${ctx.store}/m/${encodeURIComponent(stop.machine || "room")}`;

export async function home(screen, person) {
  const open = person.stores.filter((s) => s.kinds.length && s.roles.some((r) => r !== "partner" && r !== "accountant"));
  if (open.length === 1) return screen.go(`#/s/${open[0].store}`, true);
  screen.page([
    el("h1", { tabIndex: -1 }, t("Which store?")),
    open.length ? null : el("p", {}, t("You have no store to go round.")),
    el("ul", { className: "stops" }, open.map((s) => el("li", {}, link(s.name, `#/s/${s.store}`, "stop")))),
  ]);
}

export async function stops(screen, ctx) {
  const { round, marks, store } = ctx;
  const rows = round.stops.map((stop) => {
    const tasks = tasksAt(ctx, stop);
    const left = tasks.filter((task) => !marks[task.mark]);
    const boxes = stop.boxes.filter((b) => !marks[`empty ${store} ${b.key}`]);
    const is = tasks.length && !left.length ? t("done") : left.map((task) => task.words).concat(boxes.length && ctx.may("collection") ? [t("Box")] : []).join(" · ");
    return el("li", {}, link(
      [el("span", { className: "name" }, name(stop), stop.pockets.length > 1 || stop.pockets[0] !== stop.machine ? el("span", { className: "quiet" }, ` ${stop.pockets.join(", ")}`) : null),
        el("span", { className: tasks.length && !left.length ? "well" : "quiet" }, is || t("nothing due"))],
      path(ctx, stop), "stop"));
  });
  const first = ctx.nextStop(null);
  const more = [
    ctx.may("collection") && [t("Empty boxes"), "empty"],
    ctx.may("count") && [t("Count a bag"), "count"],
    ctx.may("hand-over") && [t("Hand a bag over"), "hand-over"],
    ctx.may("claim") && [t("A complaint"), "claim"],
    ctx.may("refund") && [t("Money back"), "refund"],
    ctx.may("watch") && [t("Watch customers"), "watch"],
    ctx.may("note") && [t("A note, a photo"), "note"],
  ].filter(Boolean);
  const showStops = rows.length && (ctx.may("reading") || WORKS.some((k) => ctx.may(k)));
  screen.page([
    el("h1", { tabIndex: -1 }, round.name),
    el("p", { className: "quiet" }, t("Fetched {age} ago.", { age: age(ctx.fetched) }), " ", button(t("Fetch anew"), () => screen.fetchRound(store), "plain")),
    Date.now() > Date.parse(round.good_until) ? notice("heed", t("This round is old: fetch it anew when there is signal. What you write goes on the same.")) : null,
    ...round.days.map((one) => el("p", {}, link(t("Change day, {bank}", { bank: ctx.bankName(one.bank) }), `#/s/${store}/day/${encodeURIComponent(one.bank)}`, "button second wide-button"))),
    showStops ? el("h2", {}, t("Stops")) : null,
    showStops ? el("ol", { className: "stops" }, rows) : null,
    el("h2", {}, t("At any place")),
    el("ul", { className: "stops" }, more.map(([words, to]) => el("li", {}, link(words, `#/s/${store}/${to}`, "stop")))),
  ], first && showStops ? { next: () => screen.go(first), words: t("Next stop") } : {});
}

/** One machine: cautions in full until they were read today, then one tap away; below them what there is to do. */
export async function machine(screen, ctx, stop) {
  const { marks, store, who } = ctx;
  const seen = `cautions ${stop.cautions_on.map((c) => c.en).join("").length} ${store}`;
  const after = ctx.nextStop(stop);
  const parts = [el("p", { className: "where" }, ctx.round.name), el("h1", { tabIndex: -1 }, name(stop), stop.pockets.length > 1 ? el("span", { className: "quiet" }, ` ${stop.pockets.join(", ")}`) : null)];
  const cautions = el("ul", { className: "said" }, stop.cautions_on.map((c) => el("li", {}, both(c))));
  if (stop.cautions_on.length && !marks[seen]) {
    const read = async () => {
      await keep.mark(who, [seen]);
      await screen.again();
    };
    return screen.page([...parts, el("h2", {}, t("First")), el("div", { className: "notice wrong" }, cautions)], { back: () => screen.go(`#/s/${store}`), next: read, words: t("I have read it") });
  }
  const tasks = tasksAt(ctx, stop);
  const others = [
    ctx.may("proof") && stop.controls.some((c) => c.inputs.length) && [t("Time a start"), "time"],
    ctx.may("proof") && stop.pockets.length && [t("Exhaust temperature"), "heat"],
    ctx.may("outage") && stop.pockets.length && [t("Out of service, or back"), "outage"],
    ctx.may("note") && stop.machine && [t("A note, a photo"), "note"],
  ].filter(Boolean);
  screen.page([
    ...parts,
    stop.cautions_on.length ? el("details", {}, el("summary", {}, t("Cautions")), el("div", { className: "notice wrong" }, cautions)) : null,
    ...stop.notices.map((n) => notice("heed", both(n))),
    ...stop.look_at.map((one) => notice("heed", `${t("Look at:")} ${one}`)),
    stop.out_of_service.length ? el("p", { className: "heed" }, t("Out of service: {pockets}", { pockets: stop.out_of_service.join(", ") })) : null,
    el("ul", { className: "stops" }, tasks.map((task) => el("li", {}, link([el("span", { className: "name" }, task.words), el("span", { className: marks[task.mark] ? "well" : "quiet" }, marks[task.mark] ? t("done") : task.hint)], `${path(ctx, stop)}/${task.route}`, "stop")))),
    ctx.may("collection") && stop.boxes.length ? el("p", { className: "quiet" }, ...stop.boxes.map((b) => `${b.number || b.key}: ${b.emptied ? t("emptied last {when}", { when: day(new Date(b.emptied)) }) : t("never emptied in the book")} `)) : null,
    others.length ? el("h2", {}, t("Also here")) : null,
    el("ul", { className: "stops" }, others.map(([words, to]) => el("li", {}, link(words, `${path(ctx, stop)}/${to}`, "stop")))),
  ], { back: () => screen.go(`#/s/${store}`), ...onward(screen, ctx, stop, tasks, after) });
}

/** At the thumb: the first thing to do here, or the next stop. */
function onward(screen, ctx, stop, tasks, after) {
  const left = tasks.find((task) => !ctx.marks[task.mark]);
  if (left) return { next: () => screen.go(`${path(ctx, stop)}/${left.route}`), words: left.words };
  return { next: after ? () => screen.go(after) : null, words: t("Next stop") };
}

/** Controls of a machine that have something to set; straight in where there is one. */
export async function controls(screen, ctx, stop) {
  const here = `${path(ctx, stop)}/set`;
  if (stop.controls.length === 1) return screen.go(`${here}/${encodeURIComponent(stop.controls[0].key)}`, true);
  screen.page([
    el("p", { className: "where" }, name(stop)),
    el("h1", { tabIndex: -1 }, t("Which control?")),
    el("ul", { className: "stops" }, stop.controls.map((c) => {
      const n = c.lines.filter((l) => l.to_set !== null).length;
      const isDone = ctx.marks[`set ${ctx.store} ${c.key}`];
      return el("li", {}, link([el("span", { className: "name" }, c.pockets.join(", ")), el("span", { className: isDone ? "well" : "quiet" }, isDone ? t("done") : toChange(n))], `${here}/${encodeURIComponent(c.key)}`, "stop"));
    })),
  ], { back: () => screen.go(path(ctx, stop)) });
}

export { powerWords };
