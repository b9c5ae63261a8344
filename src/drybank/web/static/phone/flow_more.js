// Notes with photos, jobs done, a pocket out of service and back.
import { el } from "./dom.js";
import { lineOf } from "./entry.js";
import { pocketQuestion } from "./flow_cash.js";
import { both, t } from "./words.js";

export function noteFlow(ctx, stop) {
  const back = stop ? `#/s/${ctx.store}/m/${encodeURIComponent(stop.machine)}` : `#/s/${ctx.store}`;
  const at = stop ? stop.machine : "";
  return {
    what: `note ${ctx.store} ${at}`,
    route: `${back}/note`,
    back,
    place: stop ? t("Machine {machine}", { machine: at }) : ctx.round.name,
    questions: () => [
      { key: "says", kind: "lines", ask: t("What is there to know?"), short: t("Note") },
      { key: "photos", kind: "photo", optional: true, ask: t("Photos"), short: t("Photos"), hint: t("They stay with this note. They may be left out. No faces.") },
    ],
    finish: async (answers) => {
      const photos = (answers.photos?.value || []).map((one) => ({ ...one, store: ctx.store, made: Date.now() }));
      const kept = photos.map((one) => ({ what: "photo", sha256: one.sha256 }));
      const body = { kind: "note", at, says: answers.says.value, kept };
      const says = at ? ["Note, machine {machine}", { machine: at }] : ["Note", {}];
      return { lines: [lineOf(ctx, body, says, { photos: photos.map((one) => one.sha256) })], photos };
    },
  };
}

const list = (texts, kind = "ul") => el(kind, { className: "said" }, texts.map((text) => el("li", {}, both(text))));
export const powerWords = (power) => ({ on: t("Power stays on"), off: t("Power and gas off"), either: t("No cover comes off") })[power];

/** Jobs due at one stop: for each kind of power the cautions first, then what was done, then how to leave it. */
export function jobsFlow(ctx, stop) {
  const back = `#/s/${ctx.store}/m/${encodeURIComponent(stop.machine || "room")}`;
  return {
    what: `jobs ${ctx.store} ${stop.machine}`,
    route: `${back}/jobs`,
    back,
    place: stop.machine ? t("Machine {machine}", { machine: stop.machine }) : t("The room"),
    reviewHead: t("Done, as you say?"),
    questions: () =>
      stop.sheets.flatMap((sheet, i) => [
        { key: `caution ${i}`, kind: "info", ask: powerWords(sheet.power), next: t("I have read it"), body: el("div", {}, el("div", { className: "notice wrong" }, list(sheet.cautions)), sheet.before.length ? el("h2", {}, t("Before you begin")) : null, sheet.before.length ? list(sheet.before, "ol") : null) },
        { key: `done ${i}`, kind: "ticks", optional: true, ask: t("What is done?"), short: powerWords(sheet.power), options: sheet.jobs.flatMap((job) => placesOf(stop, job).map((place) => ({ value: `${place}|${job.task}`, words: `${both(job.name)}${stop.pockets.length > 1 || job.places.length > 1 ? `, ${place}` : ""}`, hint: [both(job.who), ...job.steps.map(both), ...(job.parts.length ? [t("Parts: {parts}", { parts: job.parts.map(both).join(", ") })] : [])].join(" · ") }))) },
        sheet.after.length && { key: `after ${i}`, kind: "info", ask: t("Before you leave"), next: t("Done"), body: list(sheet.after, "ol") },
      ]),
    finish: async (answers) => {
      const byPlace = {};
      for (const [key, answer] of Object.entries(answers)) {
        if (!key.startsWith("done ")) continue;
        for (const ticked of answer.value || []) {
          const [place, task] = ticked.split("|");
          (byPlace[place] ??= []).push(task);
        }
      }
      const lines = Object.entries(byPlace).map(([at, tasks]) => lineOf(ctx, { kind: "service", at, tasks }, ["Jobs done at {place}", { place: at }], { part: `service ${at}` }));
      return { lines, done: [`jobs ${ctx.store} ${stop.machine}`] };
    },
  };
}

const placesOf = (stop, job) => (job.places.length ? job.places : [stop.machine || "store"]);

export function outageFlow(ctx, stop) {
  const back = `#/s/${ctx.store}/m/${encodeURIComponent(stop.machine)}`;
  return {
    what: `outage ${ctx.store} ${stop.machine}`,
    route: `${back}/outage`,
    back,
    place: t("Machine {machine}", { machine: stop.machine }),
    questions: () => [
      stop.pockets.length > 1 ? { key: "pocket", kind: "choice", ask: t("Which pocket?"), short: t("Pocket"), options: stop.pockets.map((p) => ({ value: p, words: p })) } : pocketQuestion(ctx, stop.pockets[0]),
      { key: "is", kind: "choice", ask: t("Out of service, or back?"), short: t("State"), options: [{ value: "out", words: t("Out of service from now") }, { value: "back", words: t("Back in service") }] },
      { key: "why", kind: "text", optional: true, ask: t("Why?"), short: t("Why") },
    ],
    finish: async (answers) => {
      const body = { kind: "outage", pocket: answers.pocket.value, is_back: answers.is.value === "back", why: answers.why?.value || "" };
      return { lines: [lineOf(ctx, body, [body.is_back ? "Pocket {pocket} back in service" : "Pocket {pocket} out of service", { pocket: body.pocket }])] };
    },
  };
}
