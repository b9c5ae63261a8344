// Ids made on this phone: UUIDv7, its time in milliseconds first, so that ids sort as they were made.
let last = 0;

export function uuid7(now = Date.now()) {
  last = Math.max(now, last + 1);
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  for (let i = 0, time = last; i < 6; i++) {
    bytes[5 - i] = time % 256;
    time = Math.floor(time / 256);
  }
  bytes[6] = 0x70 | (bytes[6] & 0x0f);
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

export async function sha256(blob) {
  const digest = await crypto.subtle.digest("SHA-256", await blob.arrayBuffer());
  return [...new Uint8Array(digest)].map((b) => b.toString(16).padStart(2, "0")).join("");
}
