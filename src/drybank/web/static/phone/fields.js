// Fields of one question each. A field is {node, read(), focus()}; read gives what was typed or chosen, as text or a list.
import { el, button } from "./dom.js";
import { sha256 } from "./ids.js";
import { roomForPhoto } from "./keep.js";
import { t } from "./words.js";

const LARGEST = 3_000_000;
const LONG_SIDE = 1600;

export function field(question, was, go) {
  return (KINDS[question.kind] || KINDS.digits)(question, was, go);
}

function typed(question, was, { mode, big }) {
  const input = el("input", {
    id: "answer", className: big ? "big" : "", type: "text", inputMode: mode, autocomplete: "off", autocapitalize: "off",
    spellcheck: false, enterKeyHint: "next", value: was ?? question.start ?? "",
  });
  input.setAttribute("autocorrect", "off");
  let soon = 0;
  if (question.peek) input.addEventListener("input", () => {
    clearTimeout(soon);
    soon = setTimeout(() => question.peek(input.value.trim()), 300);
  });
  input.setAttribute("aria-describedby", "hint problem");
  const node = question.unit ? el("div", { className: "with-unit" }, input, el("span", { className: "unit" }, question.unit)) : input;
  return { node, read: () => input.value.trim(), focus: () => input.focus(), clear: () => { input.value = ""; } };
}

function lines(question, was) {
  const input = el("textarea", { id: "answer", rows: 4, value: was ?? "" });
  input.setAttribute("aria-describedby", "hint problem");
  return { node: input, read: () => input.value.trim(), focus: () => input.focus() };
}

/** Big buttons, one choice: a tap chooses and goes on. */
function choice(question, was, go) {
  let chosen = was ?? "";
  const buttons = question.options.map(({ value, words, hint }) => {
    const one = button(words, () => {
      chosen = value;
      go();
    }, "choice");
    if (hint) one.append(el("span", { className: "hint" }, hint));
    one.setAttribute("aria-pressed", String(was === value));
    return one;
  });
  return { node: el("div", { className: "choices", role: "group", ariaLabel: question.ask }, buttons), read: () => chosen, focus: () => {}, isChoice: true };
}

function ticks(question, was) {
  const boxes = question.options.map(({ value, words, hint }) => {
    const box = el("input", { type: "checkbox", value, checked: (was ?? question.start ?? []).includes(value) });
    return el("label", { className: "check tick" }, box, el("span", {}, words, hint ? el("span", { className: "hint" }, hint) : null));
  });
  const node = el("fieldset", {}, el("legend", { className: "hidden" }, question.ask), boxes);
  return { node, read: () => [...node.querySelectorAll("input:checked")].map((box) => box.value), focus: () => {} };
}

const info = () => ({ node: el("span"), read: () => "seen", focus: () => {} });

/** A stop-watch: start, stop; the seconds may be typed over. Its start outlives a closed page. */
function stopwatch(question, was, go, draft) {
  const field = typed({ ...question, unit: "s" }, typeof was === "string" ? was : "", { mode: "decimal", big: true });
  const face = el("p", { className: "face", role: "timer" }, "0:00");
  let began = was?.began || 0;
  let timer = 0;
  const show = () => {
    const seconds = Math.floor((Date.now() - began) / 1000);
    face.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
  };
  const act = button(began ? t("Stop") : t("Start the watch"), () => {
    if (!began) {
      began = Date.now();
      timer = setInterval(show, 250);
      act.textContent = t("Stop");
      question.began?.(began);
    } else {
      clearInterval(timer);
      field.node.querySelector("input").value = ((Date.now() - began) / 1000).toFixed(1);
      show();
      began = 0;
      act.textContent = t("Start again");
      question.began?.(0);
    }
  }, "watch");
  if (began) timer = setInterval(show, 250);
  const node = el("div", {}, face, act, el("label", { htmlFor: "answer" }, t("or typed")), field.node);
  return { ...field, node, read: () => field.read(), stop: () => clearInterval(timer) };
}

/** Readings one after the other, each with the seconds since the first: [[0, 61.2], [14, 63]]. */
function log(question, was) {
  const rows = was?.rows ? [...was.rows] : Array.isArray(was) ? [...was] : [];
  let began = was?.began || 0;
  const one = typed({ ...question, kind: "decimal" }, "", { mode: "decimal", big: true });
  const input = one.node.querySelector("input");
  const told = el("p", { className: "quiet", role: "status" });
  const show = () => { told.textContent = rows.length === 1 ? t("one reading, {value}", { value: rows[0][1] }) : rows.length ? t("{n} readings, the last {value} after {s} s", { n: rows.length, value: rows.at(-1)[1], s: rows.at(-1)[0] }) : ""; };
  const add = () => {
    const value = Number(input.value.trim().replace(",", "."));
    if (!input.value.trim() || !Number.isFinite(value) || Math.abs(value) > 400) return input.focus();
    began ||= Date.now();
    const at = Math.round((Date.now() - began) / 1000);
    if (rows.length && at <= rows.at(-1)[0]) return input.focus();
    rows.push([at, value]);
    question.began?.({ began, rows });
    input.value = "";
    show();
    input.focus();
  };
  input.addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    add();
  });
  show();
  const acts = el("p", { className: "acts" }, button(t("Add"), add, "watch"), button(t("Take the last one back"), () => { rows.pop(); show(); }, "plain"));
  return { ...one, node: el("div", {}, one.node, acts, told), read: () => rows };
}

/** Photos, made small enough to send; refused before anything is lost where the phone has no room. */
function photo(question, was) {
  const photos = [...(was || [])];
  const shown = el("ul", { className: "photos" });
  const problem = el("p", { className: "danger", role: "alert" });
  const input = el("input", { id: "answer", className: "hidden-file", type: "file", accept: "image/*" });
  input.setAttribute("capture", "environment");
  const show = () =>
    shown.replaceChildren(...photos.map((one, i) => {
      const image = el("img", { src: URL.createObjectURL(one.blob), alt: t("Photo {n}", { n: i + 1 }) });
      return el("li", {}, image, button(t("Take out"), () => { photos.splice(i, 1); show(); }, "plain"));
    }));
  input.addEventListener("change", async () => {
    problem.textContent = "";
    for (const file of input.files) {
      try {
        const blob = await smaller(file);
        await roomForPhoto(blob.size);
        photos.push({ blob, ...(await salted(blob)) });
      } catch (fault) {
        problem.textContent = fault?.constructor?.name === "Full"
          ? t("This phone is nearly full: the photo was not taken in. Nothing else is lost. Free some room, then take it again.")
          : t("This file cannot be read as a photo. Take another.");
      }
    }
    input.value = "";
    show();
  });
  show();
  return { node: el("div", {}, input, el("label", { htmlFor: "answer", className: "button wide-button" }, t("Take a photo")), problem, shown), read: () => photos, focus: () => {} };
}

/** JPEG with its long side at 1600 px: no place, no time, nothing but the picture goes along. */
async function smaller(file) {
  const image = await createImageBitmap(file);
  const by = Math.min(1, LONG_SIDE / Math.max(image.width, image.height));
  const canvas = el("canvas", { width: Math.round(image.width * by), height: Math.round(image.height * by) });
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  const made = (quality) => new Promise((done) => canvas.toBlob(done, "image/jpeg", quality));
  let blob = await made(0.82);
  if (blob.size > LARGEST) blob = await made(0.5);
  if (blob.size > LARGEST) throw new Error("too large");
  return blob;
}

const base64 = (bytes) => btoa(String.fromCharCode(...bytes));

/** Salt made on this phone and the hash that the entry names: SHA-256 of the salt followed by the bytes. */
export async function salted(blob) {
  const salt = crypto.getRandomValues(new Uint8Array(32));
  return { salt: base64(salt), sha256: await sha256(new Blob([salt, blob])) };
}

const KINDS = {
  digits: (q, was) => typed(q, was, { mode: "numeric", big: true }),
  decimal: (q, was) => typed(q, was, { mode: "decimal", big: true }),
  text: (q, was) => typed(q, was, { mode: q.mode || "text", big: q.big }),
  lines,
  choice,
  ticks,
  info,
  photo,
  stopwatch,
  log,
};
