// Meters and counters of one machine, then its box: read, empty, next.
import { lineOf, stepsOf } from "./entry.js";
import { isLikely } from "./guard.js";
import { t } from "./words.js";

const place = (stop) => t("Machine {machine}", { machine: stop.machine });

export function readFlow(ctx, stop) {
  const may = new Set(ctx.round.kinds);
  const boxes = may.has("collection") ? stop.boxes : [];
  const route = `#/s/${ctx.store}/m/${encodeURIComponent(stop.machine)}`;
  return {
    what: `read ${ctx.store} ${stop.machine}`,
    route: `${route}/read`,
    back: route,
    after: ctx.nextStop(stop) || route,
    place: place(stop),
    questions: (answers) => [
      ...stop.devices.map((device) => deviceQuestion(ctx, device)),
      boxes.length && {
        key: "empty", kind: "choice", ask: t("Empty the box now?"), short: t("Box emptied"),
        hint: boxes.map((b) => b.number || b.key).join(", "),
        options: [{ value: "yes", words: t("Yes, it is empty") }, { value: "no", words: t("No") }],
      },
      boxes.length && answers.empty?.value === "yes" && bagQuestion(ctx),
    ],
    finish: async (answers) => finish(ctx, stop, boxes, answers),
  };
}

export const bagQuestion = (ctx) => ({
  key: "bag", kind: "text", big: true, ask: t("Into which bag?"), short: t("Bag"), start: ctx.lastBag || "",
  hint: t("The number on the bag."),
});

function deviceQuestion(ctx, device) {
  const key = `d ${device.key}`;
  return {
    key, ask: device.name, short: device.name, kind: device.decimals ? "decimal" : "digits",
    unit: { 0: "", 1: "h", 10: "h", 60: "min" }[device.per_hour],
    hint: device.decimals ? t("Hours, with the figure after the point.") : t("Every digit that it shows."),
    extra: [{ words: t("Display dark"), value: { why: t("Display dark") } }, { words: t("Cannot get at it"), value: { why: t("Cannot get at it") } }],
    peek: (typed) => {
      const value = stepsOf(device, typed);
      if (value !== null) isLikely(device.guard, value, ctx.round.good_until);
    },
    check: async (typed, before) => {
      const value = stepsOf(device, typed);
      if (value === null) return { problem: device.decimals ? t("Digits, and one after the point, such as 1234.5.") : t("Digits only.") };
      if (value >= device.rolls_over_at) return { problem: t("It starts again before that number. Read it again.") };
      if (before?.sure && before.value === value) return { value, sure: true };
      if (await isLikely(device.guard, value, ctx.round.good_until)) return { value };
      return before?.again === value ? { value, sure: true } : { again: value };
    },
  };
}

function finish(ctx, stop, boxes, answers) {
  const values = [];
  const sure = [];
  for (const device of stop.devices) {
    const answer = answers[`d ${device.key}`];
    if (!answer) continue;
    if (typeof answer.value === "number") values.push({ device: device.key, shown: answer.value });
    else values.push({ device: device.key, shown: null, why_not: answer.value?.why || t("not read") });
    if (answer.sure) sure.push(device.key);
  }
  const lines = [lineOf(ctx, { kind: "reading", values }, ["Reading, machine {machine}", { machine: stop.machine }], { sure })];
  const done = [`read ${ctx.store} ${stop.machine}`];
  if (boxes.length && answers.empty?.value === "yes") {
    const bag = answers.bag.value;
    ctx.keepBag(bag);
    lines.push(emptied(ctx, boxes.map((b) => b.key), bag, true));
    done.push(...boxes.map((b) => `empty ${ctx.store} ${b.key}`));
  }
  return { lines, done };
}

export const emptied = (ctx, boxes, bag, isAfterReading, second = "") =>
  lineOf(ctx, { kind: "collection", boxes, bag, with_second: second, is_after_reading: isAfterReading },
    ["Emptied {boxes} into bag {bag}", { boxes: boxes.join(", "), bag: bag || "–" }]);

/** Boxes emptied without a reading of their counters, or several into one bag. */
export function emptyFlow(ctx) {
  const boxes = ctx.round.stops.flatMap((s) => s.boxes);
  return {
    what: `empty ${ctx.store}`,
    route: `#/s/${ctx.store}/empty`,
    back: `#/s/${ctx.store}`,
    place: ctx.round.name,
    questions: () => [
      { key: "boxes", kind: "ticks", ask: t("Which boxes are empty now?"), short: t("Boxes"), options: boxes.map((b) => ({ value: b.key, words: b.number || b.key, hint: t("pockets {pockets}", { pockets: b.pockets.join(", ") }) })) },
      bagQuestion(ctx),
      { key: "after", kind: "choice", ask: t("Were their counters read just before?"), short: t("Counters read before"), options: [{ value: "yes", words: t("Yes") }, { value: "no", words: t("No") }] },
      { key: "second", kind: "text", optional: true, ask: t("Who was with you?"), short: t("With"), hint: t("May be left out.") },
    ],
    finish: async (answers) => {
      ctx.keepBag(answers.bag.value);
      return {
        lines: [emptied(ctx, answers.boxes.value, answers.bag.value, answers.after.value === "yes", answers.second?.value || "")],
        done: answers.boxes.value.map((b) => `empty ${ctx.store} ${b}`),
      };
    },
  };
}
