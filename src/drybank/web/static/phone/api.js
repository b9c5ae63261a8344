// What is asked of the server. Every answer is looked at: no signal, log in again, busy, or what it says.
let csrf = "";

export class NoSignal extends Error {}
export class LogIn extends Error {}
export class Busy extends Error {
  constructor(seconds) {
    super();
    this.seconds = seconds;
  }
}
/** The server said no to the whole request; `said` is its sentence. */
export class No extends Error {
  constructor(status, said, mend) {
    super(said);
    this.status = status;
    this.mend = mend;
  }
}

async function ask(path, init = {}) {
  let answer;
  try {
    answer = await fetch(path, {
      credentials: "same-origin",
      redirect: "manual",
      cache: "no-store",
      ...init,
      headers: { Accept: "application/json", "X-CSRFToken": csrf, ...init.headers },
      signal: AbortSignal.timeout(30_000),
    });
  } catch {
    throw new NoSignal();
  }
  if (answer.type === "opaqueredirect") throw new LogIn();
  if (answer.status === 401) {
    const why = await answer.json().catch(() => ({}));
    throw why.code === "csrf" ? new Busy(2) : new LogIn(); // the mark changes with every log-in: ask for it again
  }
  if (answer.status === 429 || answer.status >= 500) throw new Busy(Number(answer.headers.get("Retry-After")) || 60);
  const said = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new No(answer.status, said.error || "", said.mend || "");
  return said;
}

export async function me() {
  const person = await ask("/api/v1/me");
  csrf = person.csrf || "";
  return person;
}

const store = (key) => `/api/v1/stores/${encodeURIComponent(key)}`;
export const round = (key) => ask(`${store(key)}/round`);
export const entries = (key, list, since) =>
  ask(`${store(key)}/entries`, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ entries: list, device: deviceName(), ...(since ? { since } : {}) }),
  });
export const photo = ({ store: key, sha256, salt, blob }) =>
  ask(`${store(key)}/photos/${sha256}`, { method: "PUT", headers: { "Content-Type": blob.type, "X-Salt": salt }, body: blob });

/** A short word for this phone, for the signature: the kind of device, nothing that tells one from another. */
function deviceName() {
  const said = navigator.userAgentData?.platform || /Android|iPhone|iPad|Windows|Mac|Linux/.exec(navigator.userAgent)?.[0];
  return said || "browser";
}

/** Out at the server too; the form's mark goes as a header. */
export async function logOut() {
  await fetch("/log-out", { method: "POST", credentials: "same-origin", redirect: "manual", headers: { "X-CSRFToken": csrf } });
}
