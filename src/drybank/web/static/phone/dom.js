// Elements without a library: el("p", {class: "quiet"}, "words", other). Text is always text, never markup.
export function el(tag, props = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name in made && name !== "list" && name !== "form") made[name] = value;
    else made.setAttribute(name === "className" ? "class" : name, value === true ? "" : value);
  }
  made.append(...children.flat(9).filter((c) => c !== null && c !== undefined && c !== false));
  return made;
}

export const button = (words, act, kind = "") => el("button", { type: "button", className: kind, onclick: act }, words);
export const link = (words, to, kind = "") => el("a", { href: to, className: kind }, words);
export const notice = (kind, ...words) => el("div", { className: `notice ${kind}`, role: kind === "wrong" ? "alert" : "status" }, words.map((w) => (typeof w === "string" ? el("p", {}, w) : w)));
