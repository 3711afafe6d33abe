/** The third act: whether it goes, why not, what would mend it, what it costs, and how it looks on the shoe. */

import { $, button, fill, h } from "./elements.js";
import { mend, missing, orderOf, pictured, state, takePlacement } from "./order.js";
import { Line, Problem, ask, needed } from "./service.js";
import { money, number, w, wordsOr } from "./words.js";

/** @typedef {import("./shoe.js").Page} Page */

const ROLE = "featherline.role";
const WORST = ["decline", "trial", "ready"];
const QUIET_MS = 900;
const PROPOSE_AFTER_MS = 400;
const MOST_PROPOSALS = 3;
const SVG = "image/svg+xml";
const quotes = new Line();
const pictures = new Line();
const proposals = new Line();
let quiet = 0;
let proposing = 0;
let said = "";

export const benches = () => import("./bench.js");

export function hideBench() {
  $("bench").hidden = true;
}

/** Whether the key may see offers alone. */
export const customersOnly = () => sessionStorage.getItem(ROLE) === "offers";
export const forgetRole = () => sessionStorage.removeItem(ROLE);

/**
 * Asks a question, or where the key may not, the same for customers.
 * @param {string} path @param {string} offer @param {object} body @param {string} [accept]
 */
export async function askFor(path, offer, body, accept) {
  if (!customersOnly()) {
    try {
      return await ask(path, body, accept);
    } catch (error) {
      if (!(error instanceof Problem) || error.status !== 403) throw error;
    }
    const answer = await ask(offer, body, accept);
    sessionStorage.setItem(ROLE, "offers");
    return answer;
  }
  return ask(offer, body, accept);
}

/** The language that an answer's sentences are in. @param {Response} answer */
export const languageOf = (answer) => answer.headers.get("Content-Language") ?? "en";

/** @param {string} sentence @param {string} language @param {string} [tag] @param {Record<string, any>} [more] */
export const sentenceOf = (sentence, language, tag = "span", more = {}) => h(tag, { ...more, lang: language, dir: "auto" }, sentence);

/** Asks for what stands in the form, unless something is still missing. @param {Page} page @param {(verdict: string) => void} answered */
export function askQuote(page, answered) {
  const gaps = missing();
  clearTimeout(quiet);
  clearTimeout(proposing);
  if (gaps.length) {
    quotes.ask(null);
    pictures.ask(null);
    showGaps(gaps);
    answered("");
    return;
  }
  $("answer").dataset.state = "asking";
  const order = orderOf();
  quotes.ask(async () => {
    try {
      const response = await askFor("/v1/quotes", "/v1/offers", order);
      const answer = await response.json();
      const bench = "pressings" in answer && answer.verdict !== "decline" ? await needed(benches) : null;
      show(page, answer, order, languageOf(response), bench);
      answered(state.roster ? "" : $("answer").dataset.verdict ?? "");
    } catch (error) {
      refuse(page, error);
    }
  });
}

/** Stops asking for single orders: a list is asked for. */
export function stopQuotes() {
  quotes.ask(null);
  pictures.ask(null);
}

/** @param {string[]} gaps */
function showGaps(gaps) {
  clearFaults();
  headline("", w("verdict.none"));
  $("price").textContent = "";
  fill($("prices"), []);
  fill($("pictures"), []);
  fill($("mends"), []);
  fill($("reasons"), gaps.map((gap) => h("li", {}, w(gap))));
  hideBench();
}

/** The verdict in large, and in the bar of narrow screens. @param {string} verdict @param {string} words @param {string} [price] @param {boolean} [overtaken] whether more was typed meanwhile */
export function headline(verdict, words, price = "", overtaken = false) {
  const board = $("answer");
  board.dataset.verdict = verdict;
  board.dataset.state = overtaken ? "asking" : "answered";
  $("verdict").textContent = words;
  const bar = $("bar");
  bar.hidden = !verdict;
  bar.dataset.verdict = verdict;
  bar.textContent = price ? `${words} · ${price}` : words;
}

/** Says verdict and price to who does not see them, once the typing has stopped. @param {string} words */
export function speakOnce(words) {
  clearTimeout(quiet);
  quiet = window.setTimeout(() => {
    if (words === said) return;
    said = words;
    $("spoken").textContent = words;
  }, QUIET_MS);
}

/** @param {any} price */
const paid = (price) => price.paid ?? price.tax?.gross ?? price.total;

/**
 * @param {Page} page @param {any} answer @param {ReturnType<typeof orderOf>} order @param {string} language
 * @param {typeof import("./bench.js") | null} bench the bench's side, where there is one
 */
function show(page, answer, order, language, bench) {
  clearFaults();
  const words = w(`verdict.${answer.verdict}`);
  const cost = answer.price ? money(paid(answer.price)) : "";
  headline(answer.verdict, words, cost, quotes.overtaken);
  showPrice(answer.price, order.pairs ?? 1);
  showReasons(answer.reasons, language);
  showMends(page, answer);
  if (bench) {
    bench.speaksIn(language);
    bench.drawBench(page, answer, order);
  }
  else hideBench();
  speakOnce([words, cost, ...answer.reasons.slice(0, 1).map((/** @type {any} */ reason) => reason.sentence)].filter(Boolean).join(". "));
  pictures.ask(() => drawPictures(order, answer));
  if (answer.verdict === "decline" && !quotes.overtaken) {
    proposing = window.setTimeout(() => proposals.ask(() => propose(page, order)), PROPOSE_AFTER_MS);
  }
}

/** @param {any} price @param {number} pairs */
function showPrice(price, pairs) {
  const line = $("price");
  if (!price) {
    line.textContent = "";
    fill($("prices"), []);
    return;
  }
  const taxed = w(price.tax ? "price.taxed" : "price.untaxed");
  line.textContent = pairs === 1 ? w("price.one", { total: money(paid(price)), taxed }) : w("price.many", { pairs, total: money(paid(price)), each: money(price.each), taxed });
  fill($("prices"), price.quantities.map((/** @type {any} */ more) =>
    h("p", {}, w("price.more", { pairs: more.pairs, each: money(more.each), total: money(more.total) }), " ",
      more.verdict !== "ready" && more.verdict !== $("answer").dataset.verdict ? w(`verdict.${more.verdict}`) : "")));
}

/** @param {any[]} reasons @param {string} language */
export function showReasons(reasons, language) {
  const sorted = [...reasons].sort((a, b) => WORST.indexOf(a.verdict) - WORST.indexOf(b.verdict));
  const told = new Set();
  fill($("reasons"), sorted.filter((reason) => !told.has(reason.sentence) && told.add(reason.sentence)).map((reason) =>
    sentenceOf(reason.sentence, reason.language ?? language, "li", { class: reason.verdict, "data-code": reason.code })));
}

/** Buttons for what would mend it. @param {Page} page @param {any} answer */
function showMends(page, answer) {
  /** @type {Map<string, any>} */
  const buttons = new Map();
  const many = state.marks.length > 1;
  /** @param {number} at @param {string} subject @param {string | number} value @param {string} label @param {string} [title] */
  const offer = (at, subject, value, label, title = "") => {
    const name = many ? w("named", { name: w("mark.number", { number: at + 1 }), text: label }) : label;
    buttons.set(`${at}${subject}${value}`, button(name, () => {
      const mark = state.marks[at];
      if (!mark || !mend(mark, subject, value, page.catalogue)) return;
      page.changed(true);
      $("verdict").focus();
    }, { "data-mend": subject, title }));
  };
  if (answer.verdict !== "ready") {
    answer.placements.forEach((/** @type {any} */ placement, /** @type {number} */ at) => {
      const fit = placement.fit ?? placement;
      for (const change of fit.mends) {
        if (change.verdict === "decline" || change.fits === false) continue;
        offer(at, change.subject, change.value, mendLabel(page, change), change.sentence);
      }
      const outside = answer.reasons.some((/** @type {any} */ reason) => reason.code === "fit.outside" && reason.subject.startsWith(`/placements/${at}`));
      if (outside && state.marks[at]?.pose !== "searched") offer(at, "/pose", "searched", w("mend.move"));
    });
    for (const pressing of answer.pressings ?? []) {
      for (const help of pressing.recipe.help) {
        const at = pressing.placements[0];
        if (at === undefined) continue;
        if (help.change === "film") offer(at, "/film", help.to, w("mend.film", { value: nameIn(page.catalogue.films, help.to) }), help.sentence);
        if (help.change === "panel") offer(at, "/panel", help.to, w("mend.panel", { value: wordsOr(`panel.${help.to}`, help.to.replaceAll("-", " ")) }), help.sentence);
      }
    }
  }
  if (answer.verdict === "trial" && !customersOnly()) buttons.set("trial", h("a", { href: "#trial" }, w("trial.go")));
  fill($("mends"), buttons.size ? [h("h3", {}, w("mends")), h("div", { class: "row" }, [...buttons.values()])] : []);
}

/** Adds orders that would be done instead: what they change and what they cost. @param {Page} page @param {any} order */
async function propose(page, order) {
  const films = page.catalogue.films.map((/** @type {any} */ film) => film.id).slice(0, 8);
  try {
    const response = await askFor("/v1/quotes", "/v1/offers", { ...order, propose: { films, at_most: MOST_PROPOSALS } });
    const answer = await response.json();
    if ($("answer").dataset.state !== "answered" || JSON.stringify(orderOf()) !== JSON.stringify(order)) return;
    const offered = answer.proposals.map((/** @type {any} */ proposal) => {
      const changes = [...new Set(proposal.changes.map((/** @type {any} */ change) => change.sentence))].join(" ");
      return button(w("mend.price", { changes, total: money(proposal.total) }), () => {
        state.marks.forEach((mark, at) => takePlacement(mark, proposal.order.placements[at]));
        page.changed(true);
        $("verdict").focus();
      }, { "data-proposal": proposal.verdict, lang: languageOf(response), dir: "auto" });
    });
    if (!offered.length) return;
    // Orders that are whole say more than single changes.
    const others = document.querySelectorAll('#mends [data-mend="/pose"], #mends [data-mend="/panel"]');
    fill($("mends"), [h("h3", {}, w("mends")), h("div", { class: "row" }, offered, ...others)]);
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
  }
}

/** @param {{ id: string, name: string }[]} list @param {string | number} id */
const nameIn = (list, id) => list.find((each) => each.id === id)?.name ?? String(id);

/** @param {Page} page @param {any} change */
export function mendLabel(page, change) {
  const plain = String(change.value).replace(/ mm$/, "");
  if (change.kind === "font") return w("mend.font", { value: nameIn(page.catalogue.fonts, change.value) });
  if (change.kind === "film") return w("mend.film", { value: nameIn(page.catalogue.films, change.value) });
  if (change.kind === "spacing") return w("mend.spacing", { value: number(Number(plain), 3) });
  const key = change.subject.endsWith("letter_height") ? "mend.letters" : "mend.height";
  return change.kind === "height" ? w(key, { value: number(Number(plain)) }) : wordsOr(`mend.${change.kind}`, `${change.kind}: ${plain}`);
}

/** @type {string[]} */
let shown = [];

/**
 * The marked shoe as its customer will see it, and drawings with measures of what does not fit.
 * @param {ReturnType<typeof orderOf>} order @param {any} answer
 */
async function drawPictures(order, answer) {
  /** @type {{ blob: Blob, text: string, language: string }[]} */
  const drawn = [];
  const { observations: _, ...plain } = /** @type {any} */ (order);
  try {
    const response = await ask("/v1/pictures", { order: plain, inline: true });
    for (const picture of (await response.json()).pictures) {
      drawn.push({ blob: new Blob([picture.svg], { type: SVG }), text: picture.alternative, language: languageOf(response) });
    }
    for (let at = 0; at < order.placements.length && !pictures.overtaken; at += 1) {
      const placement = answer.placements[at];
      if ((placement?.fit ?? placement)?.verdict !== "decline") continue;
      const drawing = await askFor("/v1/fits", "/v1/offers/fits", pictured(order, at), SVG);
      drawn.push({ blob: await drawing.blob(), text: pictureText(at), language: document.documentElement.lang });
    }
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
  }
  if (pictures.overtaken) return;
  const addresses = drawn.map(({ blob }) => URL.createObjectURL(blob));
  const images = drawn.map(({ text, language }, at) => h("img", { src: addresses[at], alt: text, lang: language }));
  await Promise.allSettled(images.map((image) => image.decode()));
  fill($("pictures"), images);
  for (const address of shown) URL.revokeObjectURL(address);
  shown = addresses;
}

/** @param {number} at */
function pictureText(at) {
  const mark = state.marks[at];
  return w("picture", { what: mark?.kind === "drawing" ? mark.file : mark?.text.replace(/\s+/g, " ") ?? "", where: wordsOr(`panel.${mark?.panel}`, mark?.panel.replaceAll("-", " ") ?? "") });
}

/** What could not be answered: the faults, at the fields that have them. @param {Page} page @param {unknown} error */
export function refuse(page, error) {
  if (!(error instanceof Problem)) throw error;
  if (error.status === 401) {
    page.askKey(Boolean(sessionStorage.getItem("featherline.key")));
    return;
  }
  clearFaults();
  headline("", w("verdict.fault"));
  $("price").textContent = "";
  fill($("prices"), []);
  fill($("mends"), []);
  fill($("pictures"), []);
  hideBench();
  const faults = error.faults.length ? error.faults : [{ pointer: "", detail: error.detail }];
  fill($("reasons"), faults.map((fault) => sentenceOf(fault.detail, "en", "li", { class: "decline" })));
  speakOnce(`${w("verdict.fault")}. ${faults[0]?.detail ?? ""}`);
  const places = [...document.querySelectorAll("[data-at]")];
  for (const fault of faults) {
    const place = places.filter((each) => fault.pointer.startsWith(each.getAttribute("data-at") ?? "-")).sort((a, b) =>
      (b.getAttribute("data-at") ?? "").length - (a.getAttribute("data-at") ?? "").length)[0];
    if (!place) continue;
    if (place.matches("input, select, textarea")) place.setAttribute("aria-invalid", "true");
    const note = document.getElementById(`${place.id}-wrong`);
    if (note) note.textContent = fault.detail;
  }
}

export function clearFaults() {
  for (const field of document.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
  for (const note of document.querySelectorAll("#sheet p.wrong")) note.textContent = "";
}
