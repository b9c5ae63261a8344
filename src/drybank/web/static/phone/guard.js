// "Read it again": whether a reading is likely, asked of digests that tell nothing by themselves (see docs/guides/phone.md).
const text = new TextEncoder();
const fromHex = (hex) => Uint8Array.from(hex.match(/../g), (pair) => parseInt(pair, 16));
const toHex = (buffer) => [...new Uint8Array(buffer)].map((b) => b.toString(16).padStart(2, "0")).join("");

const asked = new Map(); // what was asked lately: a question begun while the figure was typed is not asked twice

/** Whether a value is likely; asked ahead while it is typed, so that nobody waits for the answer. */
export function isLikely(guard, value, goodUntil) {
  if (!guard || Date.now() > Date.parse(goodUntil)) return Promise.resolve(true);
  const key = `${guard.salt} ${Math.floor(value / guard.width)}`;
  if (!asked.has(key)) {
    if (asked.size > 50) asked.clear();
    asked.set(key, ask(guard, value));
  }
  return asked.get(key);
}

async function ask(guard, value) {
  const salt = fromHex(guard.salt);
  const known = new Set(guard.digests);
  const bucket = Math.floor(value / guard.width);
  const step = 16; // so many spices at once
  for (let first = 0; first < guard.spices; first += step) {
    const some = Array.from({ length: Math.min(step, guard.spices - first) }, (_, i) => digest(bucket, first + i, salt, guard.stretch));
    if ((await Promise.all(some)).some((one) => known.has(one))) return true;
  }
  return false;
}

async function digest(bucket, spice, salt, iterations) {
  const key = await crypto.subtle.importKey("raw", text.encode(`${bucket}:${spice}`), "PBKDF2", false, ["deriveBits"]);
  return toHex(await crypto.subtle.deriveBits({ name: "PBKDF2", hash: "SHA-256", salt, iterations }, key, 48));
}
