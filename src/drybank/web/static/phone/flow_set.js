// Settings of one control: what it shows, set it, read it back. Power-off work comes last, behind its own cautions.
import { el, link, notice } from "./dom.js";
import { lineOf, settingOf } from "./entry.js";
import { both, t } from "./words.js";

const openDay = (ctx, bank) => ctx.round.days.find((day) => day.bank === bank);

export function setFlow(ctx, stop, key) {
  const control = stop.controls.find((c) => c.key === key);
  const toSet = control.lines.filter((line) => line.to_set !== null);
  const ordered = [...toSet.filter((l) => l.power !== "off"), ...toSet.filter((l) => l.power === "off")];
  const machine = `#/s/${ctx.store}/m/${encodeURIComponent(stop.machine)}`;
  const several = stop.controls.length > 1;
  return {
    what: `set ${ctx.store} ${key}`,
    route: `${machine}/set/${encodeURIComponent(key)}`,
    back: several ? `${machine}/set` : machine,
    after: openDay(ctx, control.bank) ? `#/s/${ctx.store}/day/${encodeURIComponent(control.bank)}` : several ? `${machine}/set` : machine,
    place: t("Machine {machine}", { machine: stop.machine }) + (several ? ` · ${control.pockets.join(", ")}` : ""),
    questions: (answers) => ordered.flatMap((line, i) => [
      line.power === "off" && ordered[i - 1]?.power !== "off" && {
        key: "off", kind: "info", ask: t("Power and gas off"), next: t("It is off and locked"),
        body: el("div", { className: "notice wrong" }, el("ul", { className: "said" }, stop.cautions_off.map((c) => el("li", {}, both(c))))),
      },
      foundQuestion(line),
      leftQuestion(line, answers),
    ]),
    finish: async (answers) => finish(ctx, stop, control, ordered, answers),
  };
}

const kindOf = (line) => (line.choices.length ? "choice" : "decimal");
const optionsOf = (line) => line.choices.map((words, value) => ({ value: String(value), words }));
const valueOf = (line, typed) => (line.choices.length ? Number(typed) : settingOf(line, typed));

function foundQuestion(line) {
  return {
    key: `f ${line.key}`, kind: kindOf(line), options: optionsOf(line), unit: line.unit, ask: t("{name}: what does it show now?", { name: line.name }),
    short: t("{name}, as found", { name: line.name }), hint: [line.found_at, line.reached].filter(Boolean).join(" · "),
    extra: [...(line.now_says ? [{ words: t("It shows {value}", { value: line.now_says }), value: line.now }] : []), { words: t("Cannot be read"), value: null }],
    check: (typed) => {
      const value = valueOf(line, typed);
      return value === null ? { problem: t("This setting cannot show that. Look again.") } : { value };
    },
  };
}

function leftQuestion(line, answers) {
  const found = answers[`f ${line.key}`];
  const how = found && found.value === line.now ? line.how : t("Bring it to {value}, going by what it shows.", { value: line.to_set_says });
  return {
    key: `l ${line.key}`, kind: kindOf(line), options: optionsOf(line), unit: line.unit, ask: t("Set {name} to {value}. Then read it back.", { name: line.name, value: line.to_set_says }),
    short: t("{name}, as left", { name: line.name }), hint: how,
    check: (typed, before) => {
      const value = valueOf(line, typed);
      if (value === null) return { problem: t("This setting cannot show that. Look again.") };
      if (value === line.to_set) return { value, says: line.to_set_says };
      if (before?.differs === value) return { value };
      return { differs: value, problem: t("It should show {value}. Set it again; if it stays so, give the same once more.", { value: line.to_set_says }) };
    },
  };
}

function finish(ctx, stop, control, lines, answers) {
  const found = [];
  const left = [];
  const [agreed, differed] = [[], []];
  for (const line of lines) {
    const [before, after] = [answers[`f ${line.key}`]?.value ?? null, answers[`l ${line.key}`].value];
    found.push({ setting: line.key, value: before });
    left.push({ setting: line.key, value: after });
    (after === line.to_set ? agreed : differed).push(line.key);
  }
  const day = openDay(ctx, control.bank);
  const body = {
    kind: "setting change", control: control.key, bank: control.bank, sheet_revision: control.revision, found, left,
    is_read_back: true, change_day: day?.id || "", reading: ctx.readingAt(stop.machine),
  };
  const back = { kind: "sheet read back", sheet: control.sheet, revision: control.revision, control: control.key, agreed, differed };
  const done = [`set ${ctx.store} ${control.key}`];
  const others = stop.controls.filter((c) => c.key !== control.key && c.lines.some((l) => l.to_set !== null));
  if (others.every((c) => ctx.marks[`set ${ctx.store} ${c.key}`])) done.push(`set ${ctx.store} ${stop.machine}`);
  return {
    lines: [
      lineOf(ctx, body, ["Settings of {control}", { control: control.pockets.join(", ") }]),
      lineOf(ctx, back, ["Settings of {control} read back", { control: control.pockets.join(", ") }]),
    ],
    done,
  };
}

// Change day: a whole bank, resumable; what is done is what the book says and what this phone has kept since

export async function changeDay(screen, ctx, bank) {
  const day = openDay(ctx, bank);
  if (!day) return screen.go(`#/s/${ctx.store}`, true);
  const is = (what) => Boolean(ctx.marks[`${what} ${day.id}`]);
  const down = day.is_old_sign_down || is("down");
  const up = day.is_new_sign_up || is("up");
  const stops = ctx.round.stops.filter((s) => s.bank === bank);
  const controls = stops.flatMap((s) => s.controls.map((c) => [s, c]));
  const isSet = (c) => day.states[c.key] === "done" || ctx.marks[`set ${ctx.store} ${c.key}`];
  const isTested = (i) => ["pass"].includes(day.tests[i.key]) || is(`test ${i.key}`);
  const left = controls.filter(([, c]) => !isSet(c)).length;
  const here = `#/s/${ctx.store}/day/${encodeURIComponent(bank)}`;
  const step = (words, isDone, to) => el("li", {}, isDone || !to ? el("div", { className: "stop" }, el("span", {}, words), el("span", { className: isDone ? "well" : "quiet" }, isDone ? t("done") : t("later"))) : link([el("span", { className: "name" }, words)], to, "stop"));
  const next = !down ? `${here}/down` : left ? setPath(ctx, ...controls.find(([, c]) => !isSet(c))) : "";
  screen.page([
    el("p", { className: "where" }, ctx.round.name),
    el("h1", { tabIndex: -1 }, t("Change day, {bank}", { bank: ctx.bankName(bank) })),
    day.is_rollback ? notice("heed", t("The change is taken back: every control goes to the settings before it.")) : null,
    left && left < controls.length ? notice("wrong", t("This bank sells at two prices until all of it is set.")) : null,
    el("p", { className: "answer" }, left ? t("{n} of {all} controls still to set.", { n: left, all: controls.length }) : t("Every control is set.")),
    el("ol", { className: "stops" },
      step(t("Old sign down"), down, `${here}/down`),
      controls.map(([s, c]) => step(t("Set {pockets}", { pockets: c.pockets.join(", ") }), isSet(c), setPath(ctx, s, c))),
      controls.flatMap(([, c]) => c.inputs.filter((i) => i.means === "coin").map((i) => step(t("Coin test, {pockets}: {slot}", { pockets: c.pockets.join(", "), slot: i.name }), isTested(i), `${here}/test/${encodeURIComponent(i.key)}`))),
      step(t("New sign up"), up, down ? `${here}/up` : "")),
  ], { back: () => screen.go(`#/s/${ctx.store}`), next: next ? () => screen.go(next) : null, words: t("Next step") });
}

const setPath = (ctx, stop, control) => `#/s/${ctx.store}/m/${encodeURIComponent(stop.machine)}/set/${encodeURIComponent(control.key)}`;

export function signFlow(ctx, bank, which) {
  const day = openDay(ctx, bank);
  const back = `#/s/${ctx.store}/day/${encodeURIComponent(bank)}`;
  return {
    what: `sign ${ctx.store} ${bank} ${which}`,
    route: `${back}/${which}`,
    back,
    place: t("Change day, {bank}", { bank: ctx.bankName(bank) }),
    questions: () => [{
      key: "is", kind: "choice", ask: which === "down" ? t("Is the old sign down?") : t("Is the new sign up?"), short: t("Sign"),
      options: [{ value: "yes", words: t("Yes") }],
    }],
    finish: async () => ({
      lines: [lineOf(ctx, { kind: "setting change", bank, sign: which === "down" ? "old down" : "new up", change_day: day.id }, [which === "down" ? "Old sign down" : "New sign up", {}])],
      done: [`${which} ${day.id}`],
    }),
  };
}
