// The phone's words in both languages, from the table that the server's catalogue makes; dates, ages and money.
let table = {};
let language = "en";

export async function loadWords() {
  const answer = await fetch(document.documentElement.dataset.words);
  table = await answer.json();
}

export function speak(code) {
  language = code === "es" ? "es" : "en";
  document.documentElement.lang = language;
}

export const spoken = () => language;

/** A phrase in the language that is spoken, with what stands in braces put in. */
export function t(phrase, fill = {}) {
  const said = (language === "en" ? phrase : table[language]?.[phrase]) || phrase;
  return said.replace(/\{(\w+)\}/g, (all, name) => (name in fill ? fill[name] : all));
}

/** A text that came in both languages. */
export const both = (text) => (typeof text === "string" ? text : text[language] || text.en);

/** "26 min", "3 h", "2 days": how old something is. */
export function age(since, now = Date.now()) {
  const minutes = Math.max(0, Math.floor((now - since) / 60000));
  if (minutes < 1) return t("under 1 min");
  if (minutes < 120) return t("{n} min", { n: minutes });
  if (minutes < 48 * 60) return t("{n} h", { n: Math.floor(minutes / 60) });
  return t("{n} days", { n: Math.floor(minutes / 1440) });
}

const TIME = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
const locale = () => (language === "es" ? "es" : "en-GB");
export const clock = (when) => new Intl.DateTimeFormat(locale(), TIME).format(when);
export const day = (when) => new Intl.DateTimeFormat(locale(), { day: "numeric", month: "short", ...TIME }).format(when);

export const money = (minor, round) =>
  `${(minor / 10 ** round.minor_digits).toFixed(round.minor_digits)} ${round.currency}`;

/** Minor units of what was typed as 1.50 or 1,50; null where it is no sum of money. */
export function minorOf(typed, round) {
  const found = /^(\d{1,7})(?:[.,](\d+))?$/.exec(typed.trim());
  if (!found || (found[2] || "").length > round.minor_digits) return null;
  return Number(found[1]) * 10 ** round.minor_digits + Number((found[2] || "").padEnd(round.minor_digits, "0") || 0);
}
