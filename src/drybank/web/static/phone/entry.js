// Entries as the book takes them: an id made here, the moment, who, and the body that the desk would write.
import { uuid7 } from "./ids.js";

/** One line of the queue. `says` is [phrase, fill] for the list; `part` tells a form's entries apart when one is mended. */
export function lineOf(ctx, body, says, { sure = [], beside = [], photos = [], part = "", happened = Date.now() } = {}) {
  const entry = { id: uuid7(), store: ctx.store, happened: new Date(happened).toISOString(), by: ctx.who, body };
  if (sure.length) entry.sure = sure;
  if (beside.length) entry.beside = beside;
  return { id: entry.id, store: ctx.store, entry, says, photos, part: part || body.kind };
}

/** A meter or counter as a whole number of its own steps, from what was typed; null where that cannot stand on it. */
export function stepsOf(device, typed) {
  const found = /^(\d{1,12})(?:[.,](\d*))?$/.exec(typed.replace(/\s/g, ""));
  if (!found || (found[2] || "").length > device.decimals) return null;
  return Number(found[1]) * 10 ** device.decimals + Number((found[2] || "").padEnd(device.decimals, "0") || 0);
}

/** The sheet's own whole number from a typed figure; null where the setting cannot hold it. */
export function settingOf(line, typed) {
  if (line.zero_means && typed.trim().toLowerCase() === line.zero_means.toLowerCase()) return 0;
  const found = /^-?\d{1,9}(?:[.,]\d{1,3})?$/.exec(typed.trim());
  if (!found) return null;
  const thousandths = Math.round(Number(typed.trim().replace(",", ".")) * 1000) * line.num;
  if (thousandths % (1000 * line.den)) return null;
  const value = thousandths / (1000 * line.den);
  if (value === 0 && line.zero_means) return 0;
  if (line.values.length) return line.values.includes(value) ? value : null;
  return value >= line.lowest && value <= line.highest && (value - line.lowest) % line.increment === 0 ? value : null;
}
