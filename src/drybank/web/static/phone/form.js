// A form is a list of questions, one a screen: number field first, previous and next at the thumb, a look at everything
// before it is kept. What is typed is in the draft at once, so a closed or killed page goes on where it was.
//
// flow = {
//   what      the draft's name              back, after   where "Back" at the first question and "Kept" lead
//   place     words above every question    questions(answers) -> [{key, ask, hint, kind, options, optional, check, ...}]
//   finish(answers, who) -> {lines, photos, done}          what is put into the queue
// }
// A question's check(typed, answers) gives {value} or {problem}; {again} clears the field and asks once more.
import { button, el, notice } from "./dom.js";
import { field } from "./fields.js";
import * as keep from "./keep.js";
import { age, t } from "./words.js";

export async function runForm(screen, who, flow) {
  const saved = await keep.draft(who, flow.what);
  const form = new Form(screen, who, flow, saved || fresh());
  if (saved && Date.now() - saved.begun > STALE) return form.askWhether();
  await form.show(form.draft.at);
}

const STALE = 4 * 3600_000; // what was read this long ago is not what it shows now
const fresh = () => ({ at: 0, answers: {}, begun: Date.now() });

class Form {
  constructor(screen, who, flow, draft) {
    Object.assign(this, { screen, who, flow, draft });
  }

  questions() {
    return this.flow.questions(this.draft.answers).filter(Boolean);
  }

  async save() {
    try {
      await keep.setDraft(this.who, this.flow.what, this.draft);
      return true;
    } catch (fault) {
      if (!(fault instanceof keep.Full)) throw fault;
      this.screen.alarm(t("This phone is full. What you type is on the screen only: free some room before you go on."));
      return false;
    }
  }

  /** A form begun long ago: go on with it knowingly, or begin anew. */
  askWhether() {
    this.screen.page([
      el("p", { className: "where" }, this.flow.place),
      el("h1", { tabIndex: -1 }, t("This was begun {age} ago", { age: age(this.draft.begun) })),
      el("p", {}, t("What was typed then is still here. Figures read that long ago may not be right now.")),
      el("div", { className: "choices" },
        button(t("Begin anew"), async () => { this.draft = fresh(); await this.save(); await this.show(0); }, "choice"),
        button(t("Go on with it"), async () => { this.draft.begun = Date.now(); await this.show(this.draft.at); }, "choice")),
    ], { back: () => this.screen.go(this.flow.back) });
  }

  async show(at) {
    const all = this.questions();
    this.draft.at = Math.max(0, Math.min(at, all.length));
    if (this.draft.at >= all.length) return this.review(all);
    this.ask(all[this.draft.at], all.length);
  }

  ask(question, of) {
    const answers = this.draft.answers;
    const was = answers[question.key]?.typed;
    const place = this.draft.at;
    let busy = false;
    const problem = el("p", { id: "problem", className: "problem", role: "alert" }, answers[question.key]?.again ? t("Read it again, digit by digit.") : "");
    const go = async () => {
      if (busy) return;
      busy = true;
      try {
        await this.next(question, one, problem);
      } finally {
        busy = false;
      }
    };
    const one = field({ ...question, began: (began) => this.began(question, began) }, was, go);
    const parts = [
      el("p", { className: "where" }, this.flow.place, of > 1 ? el("span", { className: "quiet" }, ` · ${place + 1}/${of}`) : null),
      el("h1", { tabIndex: -1 }, ["digits", "decimal", "text", "lines", "log"].includes(question.kind || "digits") ? el("label", { htmlFor: "answer" }, question.ask) : question.ask),
      question.hint ? el("p", { id: "hint", className: "hint" }, question.hint) : null,
      question.body || null,
      one.node,
      problem,
    ];
    const extra = (question.extra || []).map(({ words, value }) =>
      button(words, async () => {
        answers[question.key] = { typed: "", value, says: words };
        if (await this.save()) await this.show(place + 1);
      }, "second"));
    this.screen.form(parts, {
      back: () => this.back(),
      next: one.isChoice && !was ? null : go,
      words: question.kind === "info" && question.next ? question.next : t("Next"),
      extra,
      focus: one.focus,
      stop: one.stop,
    });
  }

  async began(question, began) {
    this.draft.answers[question.key] = { typed: typeof began === "object" ? began : { began }, value: null };
    await this.save();
  }

  async next(question, one, problem) {
    const typed = one.read();
    const before = this.draft.answers[question.key];
    const empty = typed === "" || (Array.isArray(typed) && !typed.length);
    if (empty && !question.optional) {
      problem.textContent = question.kind === "ticks" ? t("Tick at least one.") : t("Nothing is given yet.");
      one.focus();
      return;
    }
    const found = empty || !question.check ? { value: empty ? null : typed } : await question.check(typed, before, this.draft.answers);
    if (found.problem) {
      if (found.differs !== undefined) this.draft.answers[question.key] = { typed: "", value: null, differs: found.differs };
      problem.textContent = found.problem;
      one.focus();
      return;
    }
    if (found.again !== undefined) {
      this.draft.answers[question.key] = { typed: "", value: null, again: found.again };
      await this.save();
      one.clear();
      problem.textContent = t("Read it again, digit by digit.");
      one.focus();
      return;
    }
    this.draft.answers[question.key] = { typed, value: found.value, sure: found.sure || false, says: found.says };
    this.draft.at += 1;
    if (await this.save()) await this.show(this.toReview ? Infinity : this.draft.at);
    else this.draft.at -= 1;
  }

  back() {
    if (this.draft.at === 0) this.screen.go(this.flow.back);
    else this.show(this.draft.at - 1);
  }

  said(question) {
    const answer = this.draft.answers[question.key];
    if (!answer || answer.value === null || answer.value === undefined) return t("nothing");
    if (answer.says) return answer.says;
    const words = (value) => question.options?.find((o) => o.value === value)?.words || value;
    if (question.kind === "photo") return String(answer.typed.length);
    if (Array.isArray(answer.typed)) return answer.typed.map(words).join(", ");
    return `${words(answer.typed)}${question.unit ? ` ${question.unit}` : ""}`;
  }

  review(all) {
    const shown = all.filter((q) => q.kind !== "info");
    const rows = shown.map((question) => {
      const again = button(t("Change"), () => {
        this.toReview = true;
        this.show(all.indexOf(question));
      }, "plain");
      again.setAttribute("aria-label", t("Change: {what}", { what: question.short || question.ask }));
      return el("li", {}, el("span", { className: "quiet" }, question.short || question.ask), el("strong", {}, this.said(question)), again);
    });
    let busy = false;
    const problem = el("div");
    this.screen.form(
      [
        el("p", { className: "where" }, this.flow.place),
        el("h1", { tabIndex: -1 }, this.flow.reviewHead || t("Is this right?")),
        this.flow.sum ? el("p", { className: "answer" }, this.flow.sum(this.draft.answers)) : null,
        el("ul", { className: "review" }, rows),
        problem,
      ],
      {
        back: () => { this.toReview = false; this.show(all.length - 1); },
        next: async () => {
          if (busy) return;
          busy = true;
          try {
            await this.keepIt();
          } catch (fault) {
            busy = false;
            if (!(fault instanceof keep.Full)) throw fault;
            problem.replaceChildren(notice("wrong", t("This phone is full: nothing was kept, and nothing is lost. Free some room, then press Keep again.")));
          }
        },
        words: t("Keep"),
      },
    );
  }

  async keepIt() {
    const made = await this.flow.finish(this.draft.answers, this.who);
    const { instead } = this.draft;
    if (instead) made.lines = made.lines.filter((line) => line.part === instead.part);
    const form = { what: this.flow.what, route: this.flow.route, answers: this.draft.answers };
    const lines = made.lines.map((line) => ({ ...line, form }));
    await keep.keep(this.who, lines, { photos: made.photos, done: made.done, draftOf: this.flow.what, instead: instead?.id });
    this.screen.kept(this.flow.after || this.flow.back, made.lines);
  }
}
