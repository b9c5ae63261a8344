// Counts, bags, money given back. Nothing here knows what should be in a bag.
import { lineOf } from "./entry.js";
import { salted } from "./fields.js";
import { minorOf, money, t } from "./words.js";

const back = (ctx) => `#/s/${ctx.store}`;
const OTHER = " another";
const BOXES = " boxes";
const bagOf = (answers) => {
  if (answers.known?.value === BOXES) return "";
  return answers.known && answers.known.value !== OTHER ? answers.known.value : answers.bag.value;
};
const methods = () => [
  { value: "hand", words: t("By hand") },
  { value: "machine", words: t("By machine") },
  { value: "weight", words: t("By weight"), hint: t("A bag of one kind of coin.") },
];
const grams = (typed) => {
  const value = Number(typed.replace(",", "."));
  return value > 0 && value < 1e6 ? { value } : { problem: t("Grams, such as 3620.") };
};
const whole = (typed) => (/^\d{1,9}$/.test(typed) ? { value: Number(typed) } : { problem: t("Digits only.") });

export function countFlow(ctx) {
  const { round } = ctx;
  const boxes = round.stops.flatMap((s) => s.boxes);
  const bags = round.bags.filter((b) => b.state === "collected").map((b) => ({ value: b.bag, words: b.bag, hint: b.boxes.join(", ") }));
  return {
    what: `count ${ctx.store}`,
    route: `${back(ctx)}/count`,
    back: back(ctx),
    place: round.name,
    questions: (answers) => [
      (bags.length || boxes.length) && { key: "known", kind: "choice", ask: t("What do you count?"), short: t("Bag"), options: [...bags, { value: OTHER, words: bags.length ? t("Another bag") : t("A bag") }, ...(boxes.length ? [{ value: BOXES, words: t("Boxes, without a bag") }] : [])] },
      ((!bags.length && !boxes.length) || answers.known?.value === OTHER) && { key: "bag", kind: "text", big: true, ask: t("The number on the bag?"), short: t("Bag") },
      answers.known?.value === BOXES && { key: "boxes", kind: "ticks", ask: t("Which boxes?"), short: t("Boxes"), options: boxes.map((b) => ({ value: b.key, words: b.number || b.key, hint: t("pockets {pockets}", { pockets: b.pockets.join(", ") }) })) },
      { key: "method", kind: "choice", ask: t("How do you count?"), short: t("Counted"), options: methods() },
      answers.method?.value === "weight" && round.coins.length > 1 && { key: "kind", kind: "choice", ask: t("Which coin is in it?"), short: t("Coin"), options: round.coins.map((c) => ({ value: String(c.minor), words: c.words })) },
      answers.method?.value === "weight" && { key: "grams", kind: "decimal", unit: "g", ask: t("What does it weigh?"), short: t("Weight"), hint: t("Put the empty bag on, set the scale to zero, then fill the bag. The desk works out the number."), check: grams },
      ...(answers.method?.value === "weight" ? [] : round.coins).map((coin) => ({ key: `coin ${coin.minor}`, ask: t("How many of {coin}?", { coin: coin.words }), short: coin.words, unit: t("pieces"), optional: true, hint: t("Leave it empty where there are none."), check: whole })),
      { key: "foreign", ask: t("Foreign or bent pieces?"), short: t("Foreign or bent"), optional: true, hint: t("Leave it empty where there are none."), check: whole },
      { key: "second", kind: "text", optional: !round.asks_two, ask: t("Who counted with you?"), short: t("With"), hint: round.asks_two ? t("This store asks for two.") : t("May be left out.") },
    ],
    sum: (answers) => answers.method?.value === "weight" ? "" : t("Together {sum}", { sum: money(round.coins.reduce((all, c) => all + c.minor * (answers[`coin ${c.minor}`]?.value || 0), 0), round) }),
    finish: async (answers) => {
      const bag = bagOf(answers);
      const pieces = round.coins
        .filter((c) => answers[`coin ${c.minor}`]?.value !== null && answers[`coin ${c.minor}`] !== undefined)
        .map((c) => ({ piece_minor: c.minor, count: answers[`coin ${c.minor}`].value }));
      if (answers.method.value === "weight") pieces.splice(0, pieces.length, { piece_minor: Number(answers.kind?.value ?? round.coins[0].minor), count: 0 });
      const counted = answers.known?.value === BOXES ? { boxes: answers.boxes.value } : { bag };
      const weight = answers.method.value === "weight" ? { weight_g: answers.grams.value } : {};
      const body = { kind: "count", ...counted, ...weight, pieces: pieces.length ? pieces : [{ piece_minor: round.coins[0].minor, count: 0 }], method: answers.method.value, foreign: answers.foreign?.value || 0, with_second: answers.second?.value || "" };
      return { lines: [lineOf(ctx, body, bag ? ["Count of bag {bag}", { bag }] : ["Count of {boxes}", { boxes: (answers.boxes?.value || []).join(", ") }])], done: [`count ${ctx.store} ${bag}`] };
    },
  };
}

export function handOverFlow(ctx) {
  const bags = ctx.round.bags.map((b) => ({ value: b.bag, words: b.bag, hint: b.boxes.join(", ") }));
  return {
    what: `hand-over ${ctx.store}`,
    route: `${back(ctx)}/hand-over`,
    back: back(ctx),
    place: ctx.round.name,
    questions: (answers) => [
      bags.length && { key: "known", kind: "choice", ask: t("Which bag?"), short: t("Bag"), options: [...bags, { value: OTHER, words: t("Another bag") }] },
      (!bags.length || answers.known?.value === OTHER) && { key: "bag", kind: "text", big: true, ask: t("The number on the bag?"), short: t("Bag"), start: ctx.lastBag || "" },
      { key: "seal", kind: "text", optional: true, ask: t("The number of its seal?"), short: t("Seal"), hint: t("May be left out.") },
      { key: "to", kind: "text", ask: t("Who has it now?"), short: t("With") },
    ],
    finish: async (answers) => {
      const bag = bagOf(answers);
      const body = { kind: "hand-over", bag, to: answers.to.value, seal_number: answers.seal?.value || "" };
      return { lines: [lineOf(ctx, body, ["Bag {bag} handed over", { bag }])] };
    },
  };
}

const ways = () => [
  { value: "cash", words: t("In cash") },
  { value: "card", words: t("To a card") },
  { value: "credit", words: t("As time on the machine") },
  { value: "post", words: t("By post") },
];
const whats = () => [
  { value: "no time", words: t("Took money, gave no time") },
  { value: "short time", words: t("Ran too short") },
  { value: "not hot", words: t("Did not get hot") },
  { value: "too hot", words: t("Got too hot") },
  { value: "coin jam", words: t("Coin stuck") },
  { value: "other", words: t("Something else") },
];

export const pocketQuestion = (ctx, start = "") => ({
  key: "pocket", kind: "text", big: true, mode: ctx.round.pockets.every((p) => /^\d+$/.test(p)) ? "numeric" : "text", ask: t("Which pocket?"), short: t("Pocket"), hint: t("The number painted on it."), start,
  check: (typed) => (ctx.round.pockets.includes(typed) ? { value: typed } : { problem: t("There is no pocket {pocket} here.", { pocket: typed }) }),
});
const sumQuestion = (ctx, more) => ({
  key: "sum", kind: "decimal", unit: ctx.round.currency, short: t("Amount"),
  check: (typed) => {
    const minor = minorOf(typed, ctx.round);
    return minor === null ? { problem: t("Write it like 1.50.") } : { value: minor };
  },
  ...more,
});

/** A complaint, and money back with it where it is given. */
export function claimFlow(ctx) {
  const may = new Set(ctx.round.kinds);
  return {
    what: `claim ${ctx.store}`,
    route: `${back(ctx)}/claim`,
    back: back(ctx),
    place: ctx.round.name,
    questions: (answers) => [
      pocketQuestion(ctx),
      { key: "what", kind: "choice", ask: t("What was wrong?"), short: t("Complaint"), options: whats() },
      answers.what?.value === "too hot" && hotQuestion(may),
      sumQuestion(ctx, { ask: t("How much did it cost them?"), optional: true, hint: t("Leave it empty where nobody knows.") }),
      { key: "words", kind: "lines", optional: true, ask: t("What did they say?"), short: t("Their words"), hint: t("No name and no number of theirs. It may be left out.") },
      may.has("refund") && answers.sum?.value > 0 && { key: "back", kind: "choice", ask: t("Do you give it back now?"), short: t("Given back"), options: [...ways(), { value: "no", words: t("No") }] },
    ],
    finish: async (answers) => {
      const words = answers.words?.value;
      const beside = [];
      const kept = [];
      if (words) {
        const { salt, sha256 } = await salted(new Blob([words]));
        beside.push({ what: "words", sha256, salt, text: words });
        kept.push({ what: "words", sha256 });
      }
      const pocket = answers.pocket.value;
      const claim = lineOf(ctx, { kind: "claim", pocket, what: answers.what.value, minor: answers.sum?.value || 0, kept }, ["Complaint, pocket {pocket}", { pocket }], { beside });
      const lines = [claim];
      if (answers.what.value === "too hot" && answers.hot?.value === "out") {
        lines.push(lineOf(ctx, { kind: "outage", pocket, why: t("Got too hot") }, ["Pocket {pocket} out of service", { pocket }]));
      }
      if (answers.back && answers.back.value !== "no" && answers.sum?.value > 0) lines.push(refunded(ctx, answers, claim.id));
      return { lines };
    },
  };
}

/** A pocket that got too hot stands still until it was measured: the entry is one tap, where this person may make it. */
const hotQuestion = (may) => ({
  key: "hot", ask: t("Take it out of service"), short: t("State"), hint: t("Nobody may use this pocket until its exhaust temperature was measured."),
  ...(may.has("outage") ? { kind: "choice", options: [{ value: "out", words: t("Out of service from now") }, { value: "no", words: t("No") }] } : { kind: "info" }),
});

function refunded(ctx, answers, claim = "") {
  const body = { kind: "refund", pocket: answers.pocket.value, minor: answers.sum.value, why: answers.why?.value || answers.what?.value || "", paid_by: answers.back.value, claim };
  return lineOf(ctx, body, ["Refund of {sum}, pocket {pocket}", { sum: money(answers.sum.value, ctx.round), pocket: body.pocket }]);
}

export function refundFlow(ctx) {
  return {
    what: `refund ${ctx.store}`,
    route: `${back(ctx)}/refund`,
    back: back(ctx),
    place: ctx.round.name,
    questions: () => [
      pocketQuestion(ctx),
      sumQuestion(ctx, { ask: t("How much do you give back?") }),
      { key: "why", kind: "text", optional: true, ask: t("Why?"), short: t("Why"), hint: t("A few words, no name.") },
      { key: "back", kind: "choice", ask: t("How is it paid?"), short: t("Paid"), options: ways() },
    ],
    finish: async (answers) => ({ lines: [refunded(ctx, answers)] }),
  };
}
