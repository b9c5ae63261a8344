// The little that a page does by itself: htmx kept strict, a form sent once, a question before what cannot be taken back.
"use strict";
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.ask && !window.confirm(form.dataset.ask)) { event.preventDefault(); return; }
  const sent = form.querySelectorAll("button[type=submit], button:not([type])");
  window.setTimeout(() => sent.forEach((button) => { button.disabled = true; }), 0);
});
window.addEventListener("pageshow", () => {
  document.querySelectorAll("button[disabled]").forEach((button) => { button.disabled = false; });
});
document.addEventListener("change", (event) => {
  if (event.target.matches("[data-go]")) event.target.form.requestSubmit();
});
document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
});
