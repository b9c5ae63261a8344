// Watching customers: a tally for one thumb. Every tap is in the draft at once.
import { button, el } from "./dom.js";
import { lineOf } from "./entry.js";
import * as keep from "./keep.js";
import { age, clock, t } from "./words.js";

const EMPTY = { customers: 0, walked_out: 0, purchases: [] };

export async function watchCustomers(screen, ctx) {
  const what = `watch ${ctx.store}`;
  const saved = (await keep.draft(ctx.who, what)) || null;
  if (!saved) {
    return screen.page([
      el("p", { className: "where" }, ctx.round.name),
      el("h1", { tabIndex: -1 }, t("Watch customers")),
      el("p", { className: "answer" }, t("Stand where you see the dryers. Count who comes, which pocket they start, what they put in, who leaves without drying.")),
      el("p", {}, t("No names, no faces: numbers only.")),
    ], { back: () => screen.go(`#/s/${ctx.store}`), words: t("Begin"), next: async () => { await keep.setDraft(ctx.who, what, { ...EMPTY, starts: Date.now() }); await screen.again(); } });
  }
  await tally(screen, ctx, what, saved);
}

async function tally(screen, ctx, what, draft) {
  const save = async () => {
    await keep.setDraft(ctx.who, what, draft);
    await tally(screen, ctx, what, draft);
  };
  const change = (name, by) => async () => {
    draft[name] = Math.max(0, draft[name] + by);
    await save();
  };
  const row = (words, name) => el("div", { className: "tally" }, el("span", {}, words), el("b", {}, String(draft[name])),
    Object.assign(button("−", change(name, -1), "second"), { ariaLabel: t("One less: {what}", { what: words }) }),
    Object.assign(button("+", change(name, 1)), { ariaLabel: t("One more: {what}", { what: words }) }));
  const loads = draft.purchases.filter((p) => p.is === "first").length;
  screen.page([
    el("p", { className: "where" }, ctx.round.name, el("span", { className: "quiet" }, ` · ${t("since {time}", { time: clock(new Date(draft.starts)) })}, ${age(draft.starts)}`)),
    el("h1", { tabIndex: -1 }, t("Watch customers")),
    row(t("Customers came"), "customers"),
    row(t("Left without drying"), "walked_out"),
    el("p", { className: "acts" }, button(t("Somebody starts a dryer"), () => purchase(screen, ctx, what, draft, "first"), "wide-button"), button(t("Somebody tops up"), () => purchase(screen, ctx, what, draft, "top-up"), "second wide-button")),
    el("p", { className: "quiet" }, t("{n} loads, {m} top-ups", { n: loads, m: draft.purchases.length - loads })),
    draft.purchases.length ? button(t("Take the last one back"), async () => { draft.purchases.pop(); await save(); }, "plain") : null,
  ], { back: () => screen.go(`#/s/${ctx.store}`), words: t("End the watch"), next: () => finish(screen, ctx, what, draft) });
}

/** Pocket and pieces of one purchase. */
function purchase(screen, ctx, what, draft, is) {
  const problem = el("p", { id: "problem", className: "problem", role: "alert" });
  const pocket = el("input", { id: "answer", className: "big", type: "text", inputMode: "text", autocomplete: "off", enterKeyHint: "next" });
  const pieces = el("input", { id: "pieces", className: "big", type: "text", inputMode: "numeric", autocomplete: "off", enterKeyHint: "done" });
  screen.form([
    el("p", { className: "where" }, t("Watch customers")),
    el("h1", { tabIndex: -1 }, is === "first" ? t("Somebody starts a dryer") : t("Somebody tops up")),
    el("label", { htmlFor: "answer" }, t("Which pocket?")), pocket,
    el("label", { htmlFor: "pieces" }, t("How many pieces?")), pieces, problem,
  ], {
    back: () => tally(screen, ctx, what, draft),
    next: async () => {
      if (!ctx.round.pockets.includes(pocket.value.trim())) {
        problem.textContent = t("There is no pocket {pocket} here.", { pocket: pocket.value.trim() });
        return pocket.focus();
      }
      if (document.activeElement === pocket && !pieces.value) return pieces.focus();
      if (!/^\d{1,4}$/.test(pieces.value.trim())) {
        problem.textContent = t("Digits only.");
        return pieces.focus();
      }
      draft.purchases.push({ is, pocket: pocket.value.trim(), pieces: Number(pieces.value) });
      await keep.setDraft(ctx.who, what, draft);
      await tally(screen, ctx, what, draft);
    },
    words: t("Count it"),
    focus: () => pocket.focus(),
  });
}

async function finish(screen, ctx, what, draft) {
  const starts = draft.purchases.filter((p) => p.is === "first");
  const byPocket = {};
  for (const one of starts) byPocket[one.pocket] = (byPocket[one.pocket] || 0) + 1;
  const keepIt = async () => {
    const body = {
      kind: "watch", starts: new Date(draft.starts).toISOString(), ends: new Date(Math.max(Date.now(), draft.starts + 1000)).toISOString(),
      customers: draft.customers, loads: starts.length, first_pieces: starts.map((p) => p.pieces),
      top_up_pieces: draft.purchases.filter((p) => p.is === "top-up").map((p) => p.pieces), walked_out: draft.walked_out, pocket_loads: Object.entries(byPocket),
    };
    const lines = [lineOf(ctx, body, ["Watch of {n} customers", { n: draft.customers }])];
    await keep.keep(ctx.who, lines, { draftOf: what });
    screen.kept(`#/s/${ctx.store}`, lines);
  };
  const row = (words, n) => el("li", {}, el("span", { className: "quiet" }, words), el("strong", {}, String(n)));
  screen.page([
    el("p", { className: "where" }, ctx.round.name),
    el("h1", { tabIndex: -1 }, t("Is this right?")),
    el("ul", { className: "review" }, row(t("Minutes"), Math.round((Date.now() - draft.starts) / 60000)), row(t("Customers came"), draft.customers), row(t("Loads"), starts.length), row(t("Top-ups"), draft.purchases.length - starts.length), row(t("Left without drying"), draft.walked_out)),
    el("p", {}, button(t("Throw this watch away"), async () => { await keep.dropDraft(ctx.who, what); screen.go(`#/s/${ctx.store}`); }, "plain")),
  ], { back: () => tally(screen, ctx, what, draft), next: () => keepIt().catch((fault) => { if (!(fault instanceof keep.Full)) throw fault; screen.alarm(t("This phone is full: nothing was kept, and nothing is lost. Free some room, then press Keep again.")); }), words: t("Keep") });
}
