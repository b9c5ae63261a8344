// Field tests: what was measured goes to the book as it was measured; the desk judges it when it arrives.
import { lineOf } from "./entry.js";
import { t } from "./words.js";

const back = (ctx, stop) => `#/s/${ctx.store}/m/${encodeURIComponent(stop.machine)}`;
const whole = (typed) => (/^[1-9]\d{0,2}$/.test(typed) ? { value: Number(typed) } : { problem: t("Digits only.") });
const seconds = (typed) => {
  const value = Number(String(typed).replace(",", "."));
  return value > 0 && value <= 36000 ? { value, says: `${value} s` } : { problem: t("Seconds, such as 1562.4.") };
};
const slots = (control) => control.inputs.map((i) => ({ value: i.key, words: i.name }));
const piecesQuestion = () => ({ key: "pieces", ask: t("How many pieces did you put in?"), short: t("Pieces"), unit: t("pieces"), check: whole });
const watchQuestion = () => ({
  key: "ran", kind: "stopwatch", ask: t("Time it"), short: t("It ran"), hint: t("Start when the drum starts, stop when it stops."), check: seconds,
});
const ownQuestion = () => ({
  key: "own", kind: "choice", ask: t("Were they your own coins, put in for the test?"), short: t("Test coins"),
  hint: t("Then the balance does not look for them."),
  options: [{ value: "yes", words: t("Yes, test coins") }, { value: "no", words: t("No, a customer's") }],
});

/** A sold start, or a start with a top-up, by the stop-watch. */
export function timeFlow(ctx, stop) {
  const controls = stop.controls.filter((c) => c.inputs.length);
  const pockets = controls.flatMap((c) => c.pockets);
  const controlOf = (answers) => controls.find((c) => c.pockets.includes(answers.pocket?.value ?? pockets[0])) || controls[0];
  return {
    what: `time ${ctx.store} ${stop.machine}`,
    route: `${back(ctx, stop)}/time`,
    back: back(ctx, stop),
    place: t("Machine {machine}", { machine: stop.machine }),
    questions: (answers) => [
      pockets.length > 1 && { key: "pocket", kind: "choice", ask: t("Which pocket?"), short: t("Pocket"), options: pockets.map((p) => ({ value: p, words: p })) },
      controlOf(answers).inputs.length > 1 && { key: "slot", kind: "choice", ask: t("Which slot?"), short: t("Slot"), options: slots(controlOf(answers)) },
      piecesQuestion(),
      { key: "kind", kind: "choice", ask: t("A start alone, or with a top-up?"), short: t("Timed"), options: [{ value: "start", words: t("A start alone") }, { value: "top-up", words: t("A start and a top-up") }] },
      watchQuestion(),
      ownQuestion(),
    ],
    finish: async (answers) => {
      const pocket = answers.pocket?.value ?? pockets[0];
      const control = controlOf(answers);
      const input = control.inputs.find((i) => i.key === answers.slot?.value) || control.inputs[0];
      const measured = { pieces: answers.pieces.value, "ran s": answers.ran.value, input: input.key, timed: answers.kind.value };
      return { lines: [proofLine(ctx, "time sold", pocket, measured, "s"), ...ownCoins(ctx, input, answers)] };
    },
  };
}

/** One input's coin test on a change day. */
export function coinTestFlow(ctx, bank, key) {
  const day = ctx.round.days.find((d) => d.bank === bank);
  const control = ctx.round.stops.flatMap((s) => s.controls).find((c) => c.inputs.some((i) => i.key === key));
  const input = control.inputs.find((i) => i.key === key);
  const where = `#/s/${ctx.store}/day/${encodeURIComponent(bank)}`;
  return {
    what: `test ${ctx.store} ${key}`,
    route: `${where}/test/${encodeURIComponent(key)}`,
    back: where,
    place: `${control.pockets.join(", ")} · ${input.name}`,
    questions: () => [piecesQuestion(), watchQuestion(), ownQuestion()],
    finish: async (answers) => {
      const measured = { pieces: answers.pieces.value, seconds: answers.ran.value, "change day": day.id };
      return { lines: [proofLine(ctx, "coin test", key, measured, "s"), ...ownCoins(ctx, input, answers)], done: [`test ${key} ${day.id}`] };
    },
  };
}

const proofLine = (ctx, test, at, measured, unit, instrument = "stop-watch") =>
  lineOf(ctx, { kind: "proof", test, at, measured, unit, verdict: "cannot tell", instrument }, ["Test at {place}", { place: at }]);

/** Test coins stand in a reading, so that nobody looks for them in the box or on the counter. */
function ownCoins(ctx, input, answers) {
  if (answers.own?.value !== "yes" || !ctx.may("reading")) return [];
  const body = { kind: "reading", values: [], test_pieces: [{ piece_minor: input.piece_minor, count: answers.pieces.value, means: input.means }], test_input: input.key };
  return [lineOf(ctx, body, ["Test coins, {slot}", { slot: input.key }])];
}

/** A heat watched with a thermometer in the exhaust. */
export function heatFlow(ctx, stop) {
  return {
    what: `heat ${ctx.store} ${stop.machine}`,
    route: `${back(ctx, stop)}/heat`,
    back: back(ctx, stop),
    place: t("Machine {machine}", { machine: stop.machine }),
    questions: () => [
      stop.pockets.length > 1 && { key: "pocket", kind: "choice", ask: t("Which pocket?"), short: t("Pocket"), options: stop.pockets.map((p) => ({ value: p, words: p })) },
      { key: "heat", kind: "choice", ask: t("Which heat?"), short: t("Heat"), options: ctx.round.heats.map((h) => ({ value: h.key, words: h.name })) },
      { key: "give", kind: "decimal", unit: `°${ctx.round.temperature}`, ask: t("How far off may the thermometer be?"), short: t("Give or take"), hint: t("It stands in its booklet, such as 1.5."), check: (typed) => { const value = Number(typed.replace(",", ".")); return value >= 0 && value <= 27 && typed ? { value } : { problem: t("A number, such as 1.5.") }; } },
      { key: "log", kind: "log", unit: `°${ctx.round.temperature}`, ask: t("What does it show?"), short: t("Readings"), hint: t("From the start of the heat, one every 10 to 15 s for 6 min or more. Stop before the cool-down."), check: (log) => (log.length < 8 ? { problem: t("At least 8 readings.") } : { value: log, says: t("{n} readings", { n: log.length }) }) },
    ],
    finish: async (answers) => {
      const pocket = answers.pocket?.value ?? stop.pockets[0];
      const measured = { heat: Number(answers.heat.value), "give or take": answers.give.value };
      for (const [at, value] of answers.log.value) measured[`at ${at} s`] = value;
      return { lines: [proofLine(ctx, "exhaust temperature", pocket, measured, `°${ctx.round.temperature}`, "exhaust thermometer")] };
    },
  };
}
