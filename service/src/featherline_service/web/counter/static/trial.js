/** Trying first: the ladder of a trial as a check list, whose outcomes go into the next question. */

import { $, button, fill, h, radios, tick } from "./elements.js";
import { drawSetting, said, speaksIn } from "./bench.js";
import { customersOnly, languageOf, refuse } from "./answer.js";
import { save, shoeOf, state } from "./order.js";
import { Line, ask } from "./service.js";
import { w } from "./words.js";

/** @typedef {import("./shoe.js").Page} Page */

const trials = new Line();

/** What a trial is of: without the upper, which a trial may name. */
function subject() {
  const { upper: _, ...shoe } = /** @type {any} */ (shoeOf());
  const mark = state.marks[0];
  return { shoe, panel: mark?.panel ?? "", film: mark?.film ?? "", owner: state.owner };
}

/** Offers a trial where the verdict asks for one; goes on with the one that was begun. @param {Page} page @param {string} verdict */
export function offerTrial(page, verdict) {
  const place = $("trial");
  const of = JSON.stringify(subject());
  if (state.trial && state.trial.of !== of) state.trial = null;
  place.hidden = customersOnly() || (verdict !== "trial" && !state.trial);
  if (place.hidden || state.trial) {
    if (!place.hidden && !place.childElementCount) draw(page);
    else if (place.hidden) fill(place, []);
    return;
  }
  fill(place, [
    h("h2", { id: "trial-title" }, w("trial")),
    h("p", {}, w("trial.why")),
    button(w("trial.begin"), () => begin(page, of), { id: "trial-begin", class: "main" }),
  ]);
}

/** @param {Page} page @param {string} of */
function begin(page, of) {
  trials.ask(async () => {
    try {
      const response = await ask("/v1/trials", { ...subject(), ...(state.measured.upper && state.kind === "measured" ? { shoe: shoeOf() } : {}) });
      const { panel, film } = subject();
      state.trial = { of, panel, film, language: languageOf(response), plan: (await response.json()).trial, rung: 0, ticked: {}, seen: "", done: [], stood: null, ended: "", upper: "" };
      page.changed();
      draw(page);
      $("trial-title").focus();
    } catch (error) {
      refuse(page, error);
    }
  });
}

/** @param {Page} page */
function draw(page) {
  const { plan, rung, ended, done, language } = state.trial;
  speaksIn(language);
  const say = (/** @type {string} */ sentence, tag = "li") => said(sentence, tag);
  const checks = (/** @type {string} */ group, /** @type {string[]} */ sentences) => sentences.map((sentence, at) => {
    const id = `${group}-${at}`;
    const line = tick(`check-${id}`, "", Boolean(state.trial.ticked[id]), (on) => {
      state.trial.ticked[id] = on;
      save();
    });
    line.lastChild.append(say(sentence, "span"));
    return h("li", {}, line);
  });
  fill($("trial"), [
    h("h2", { id: "trial-title", tabindex: "-1" }, w("trial")),
    h("ul", {}, plan.reasons.map((/** @type {any} */ reason) => say(reason.sentence))),
    h("p", {}, plan.candidates.length > 1 ? w("trial.candidates") : ""),
    h("ul", {}, plan.candidates.map((/** @type {any} */ each) => say(w("named", { name: each.name, text: each.tell })))),
    h("h3", {}, w("trial.before")),
    h("ul", { class: "checks" }, checks("before", plan.before)),
    h("h3", {}, w("trial.places")),
    h("ul", {}, plan.places.map((/** @type {any} */ each) => say(each.sentence))),
    h("div", { class: "caution" }, h("h3", {}, w("trial.stops")), h("ul", {}, plan.stop.map((/** @type {string} */ each) => say(each)))),
    h("ol", { class: "rungs" }, plan.rungs.map((/** @type {any} */ each, /** @type {number} */ at) => h("li", { class: at < rung || (ended && at <= rung) ? "done" : at === rung ? "now" : "later" },
      h("h3", {}, w("trial.rung", { number: at + 1, of: plan.rungs.length }), h("span", { class: "soft" }, ` ${w(each.film ? "trial.film" : "trial.cover")}`)),
      drawSetting(each.setting),
      done[at] && h("p", { class: "note" }, w(`seen.${done[at].seen}`)),
      at === rung && !ended && drawLooks(page, each, checks)))),
    ended && drawEnd(say),
    h("div", { class: "cautions" }, h("h3", {}, w("cautions")), h("ul", {}, plan.cautions.map((/** @type {any} */ each) => say(each.sentence)))),
    h("p", {}, button(w("trial.again"), () => {
      state.trial = null;
      fill($("trial"), []);
      page.changed();
    }, { id: "trial-again" })),
  ]);
}

/** What to look at after a rung, and what was seen. @param {Page} page @param {any} rung @param {(group: string, sentences: string[]) => any[]} checks */
function drawLooks(page, rung, checks) {
  const { plan } = state.trial;
  const looks = plan.looks.filter((/** @type {any} */ look) => rung.film || !look.at.startsWith("bond"));
  const outcome = h("p", { class: "note", "aria-live": "polite" });
  const tell = () => {
    const meant = rung.outcomes.find((/** @type {any} */ each) => each.seen === state.trial.seen);
    outcome.replaceChildren(meant ? said(meant.sentence, "span") : "");
    next.disabled = !meant;
  };
  const next = button(w("trial.next"), () => step(page, rung), { id: "trial-next", class: "main" });
  const options = rung.outcomes.map((/** @type {any} */ each) => [each.seen, w(`seen.${each.seen}`)]);
  const group = radios("seen", w("trial.seen"), state.trial.seen, options, (seen) => {
    state.trial.seen = seen;
    save();
    tell();
  });
  tell();
  return h("div", { class: "looks" },
    h("h4", {}, w("trial.looks")),
    h("ul", { class: "checks" }, checks(`look-${state.trial.rung}`, looks.map((/** @type {any} */ look) => look.sentence))),
    group, outcome, next);
}

/** Takes what was seen: on to the next rung, or to the end. @param {Page} page @param {any} rung */
function step(page, rung) {
  const trial = state.trial;
  const outcome = rung.outcomes.find((/** @type {any} */ each) => each.seen === trial.seen);
  trial.done.push({ setting: rung.setting, film: rung.film, seen: trial.seen });
  trial.seen = "";
  if (outcome.then === "next-rung") trial.rung += 1;
  else {
    trial.ended = outcome.sentence;
    trial.upper = outcome.upper ?? "";
    if (outcome.then === "use") trial.stood = rung.setting;
    if (trial.upper && state.kind === "measured") {
      state.measured.upper = trial.upper;
      state.measured.upperName = trial.plan.candidates.find((/** @type {any} */ each) => each.upper === trial.upper)?.name ?? trial.upper;
    }
  }
  page.changed(true);
  draw(page);
  (document.getElementById("trial-end") ?? document.getElementById("seen-bond") ?? $("trial-title")).focus();
}

/** @param {(sentence: string, tag?: string) => any} say */
function drawEnd(say) {
  const { ended, plan, stood } = state.trial;
  return h("section", { class: "pressing", "aria-labelledby": "trial-end" },
    h("h3", { id: "trial-end", tabindex: "-1" }, w(stood ? "trial.stood" : "trial.stopped")),
    stood && drawSetting(stood),
    say(ended, "p"),
    h("h4", {}, w("trial.afterwards")),
    h("ul", {}, plan.afterwards.filter((/** @type {string} */ each) => !each.includes("`")).map((/** @type {string} */ each) => say(each))),
    h("p", { class: "note" }, w("trial.observed")));
}
