// "Read it again": whether a reading is likely, asked of digests that tell nothing by themselves (see docs/guides/phone.md).
const text = new TextEncoder();
const fromHex = (hex) => Uint8Array.from(hex.match(/../g), (pair) => parseInt(pair, 16));
const toHex = (buffer) => [...new Uint8Array(buffer)].map((b) => b.toString(16).padStart(2, "0")).join("");

/** True where a value is one that nobody would ask about, or where nothing is known. */
export async function isLikely(guard, value, goodUntil) {
  if (!guard || Date.now() > Date.parse(goodUntil)) return true;
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
