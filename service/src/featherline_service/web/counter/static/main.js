/** The counter: what is typed is kept, asked at once, and shown. */

import * as early from "./early.js";
import { $, fill, h } from "./elements.js";
import { askQuote, benches, forgetRole, headline, refuse } from "./answer.js";
import { complete, drawMarking, drawRest, takeDrawing } from "./marking.js";
import { clear, restore, save, state } from "./order.js";
import { Line, ask, keep, needed, whenLost } from "./service.js";
import { drawShoe, takePanel } from "./shoe.js";
import { LANGUAGES, language, load, speak, w } from "./words.js";

const catalogues = new Line();
const rosters = () => import("./roster.js");
const trials = () => import("./trial.js");
const [lists, files, ladders] = [new Line(), new Line(), new Line()];
let redrawing = false;

/** @type {import("./shoe.js").Page} */
const page = {
  catalogue: null,
  changed(redraw = false) {
    if (redraw) draw();
    save();
    if (state.roster) lists.ask(async () => { (await needed(rosters)).askRoster(page); });
    else askQuote(page, offer);
  },
  message(text) {
    $("spoken").textContent = text;
  },
  list(file) {
    list(file);
  },
  askKey,
};

/** Shows the page: until it has its first words and form, the browser lays nothing out. */
const shown = () => document.documentElement.classList.remove("waiting");

/** Takes a list. @param {File} file */
function list(file) {
  files.ask(async () => { await (await needed(rosters)).takeList(page, file); });
}

/** Offers a trial, or goes on with the one that was begun. @param {string} verdict */
function offer(verdict) {
  if (verdict || state.trial) ladders.ask(async () => { (await needed(trials)).offerTrial(page, verdict); });
  else {
    ladders.ask(null);
    $("trial").hidden = true;
  }
}

function draw() {
  complete(page);
  if (redrawing) return;
  redrawing = true;
  drawShoe(page);
  drawMarking(page);
  drawRest(page);
  redrawing = false;
}

/** Asks for a key, which stays in this tab. @param {boolean} wrong */
function askKey(wrong) {
  const dialog = $("key");
  $("key-wrong").textContent = wrong ? w("key.wrong") : "";
  $("key-text").value = "";
  if (!dialog.open) dialog.showModal();
}

function useKey() {
  const text = $("key-text").value.trim();
  if (!text) return;
  keep(text);
  forgetRole();
  $("key").close();
  $("key-open").hidden = false;
  begin();
}

/** Reads the catalogue, and shows the page by it. @param {Promise<Response> | null} [asked] the first question for it */
function begin(asked = null) {
  headline("", w("verdict.asking"));
  catalogues.ask(async () => {
    const first = asked;
    asked = null;
    try {
      page.catalogue = await (await (first ?? ask("/v1/catalogue"))).json();
    } catch (error) {
      shown();
      refuse(page, error);
      return;
    }
    const { name, colour, book, engine } = page.catalogue;
    $("shop").textContent = name;
    document.title = `${name} – ${w("counter")}`;
    $("revision").textContent = w("revision", { book: book.slice(7, 15), engine });
    if (colour) paint(colour);
    draw();
    if (state.roster) lists.ask(async () => { (await needed(rosters)).drawRoster(page); });
    else {
      fill($("roster"), []);
      $("roster").hidden = true;
    }
    page.changed();
    shown();
    performance.mark("usable");
    // What comes after the first view, once it is painted, while there is a connection: it is needed without one, too.
    requestAnimationFrame(() => setTimeout(() => { for (const one of [benches, rosters, trials]) one().catch(() => {}); }));
  });
}

/** Puts the shop's colour on the page, as light or dark as its words need. @param {string} colour */
function paint(colour) {
  const parts = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
  /** @param {number[]} rgb */
  const luminance = (rgb) => rgb.map((part) => part / 255).map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4))
    .reduce((sum, part, at) => sum + part * (/** @type {number[]} */ ([0.2126, 0.7152, 0.0722])[at] ?? 0), 0);
  /** @param {number} towards @param {(light: number) => boolean} enough */
  const mixed = (towards, enough) => {
    let rgb = parts;
    for (let share = 0; share <= 1 && !enough(luminance(rgb)); share += 0.05) rgb = parts.map((part) => Math.round(part + (towards - part) * share));
    return `rgb(${rgb.join(" ")})`;
  };
  // Contrast by WCAG 2.2, section 1.4.3: 9 to 1 and more of light words on the board, 5.5 of the shop's colour on paper.
  const style = document.documentElement.style;
  style.setProperty("--board-on-light", mixed(0, (light) => 0.92 >= 9 * (light + 0.05)));
  style.setProperty("--board-on-dark", mixed(0, (light) => 0.92 >= 13 * (light + 0.05)));
  style.setProperty("--ink-on-light", mixed(0, (light) => 0.94 >= 5.5 * (light + 0.05)));
  style.setProperty("--ink-on-dark", mixed(255, (light) => light + 0.05 >= 5.5 * 0.065));
}

/** Takes a dropped file for what it is. @param {DataTransfer | null} dropped @param {EventTarget | null} onto */
function take(dropped, onto) {
  const file = dropped?.files[0];
  if (!file || !page.catalogue) return;
  const name = file.name.toLowerCase();
  const mark = onto instanceof Element ? Number(onto.closest("[data-mark]")?.getAttribute("data-mark") ?? 0) : 0;
  const onPanel = onto instanceof Element && onto.closest("#photo");
  if (!onPanel && (name.endsWith(".svg") || file.type === "image/svg+xml")) void takeDrawing(page, file, mark);
  else if (onPanel || /\.(json|dxf)$/.test(name) || /^image\/(jpeg|png)$/.test(file.type)) takePanel(page, file);
  else if (/\.(csv|txt|tsv)$/.test(name) || file.type.startsWith("text/")) list(file);
  else page.message(w("drop.unknown", { file: file.name }));
}

function chooseLanguage() {
  const select = $("lang");
  const tags = language in LANGUAGES ? LANGUAGES : { ...LANGUAGES, [language]: language };
  fill(select, Object.entries(tags).map(([tag, name]) => h("option", { value: tag, selected: tag === language, lang: tag }, name)));
}

async function start() {
  try {
    speak(await early.words);
  } catch { // the service went away after the page: not even its words are there
    $("lost").hidden = false;
    setTimeout(() => location.reload(), 2000);
    return;
  }
  restore();
  chooseLanguage();
  $("lang").addEventListener("change", async (/** @type {any} */ event) => {
    sessionStorage.setItem("featherline.language", event.target.value);
    speak(await load(event.target.value));
    fill($("trial"), []); // drawn anew in this language
    begin();
  });
  $("anew").addEventListener("click", () => {
    clear();
    begin();
    fill($("trial"), []);
  });
  $("key-open").addEventListener("click", () => askKey(false));
  $("key-open").hidden = !sessionStorage.getItem("featherline.key");
  $("key-use").addEventListener("click", useKey);
  $("key-text").addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => { if (event.key === "Enter") useKey(); });
  $("key").addEventListener("cancel", (/** @type {Event} */ event) => { if (!page.catalogue) event.preventDefault(); });
  $("sheet").addEventListener("submit", (/** @type {Event} */ event) => event.preventDefault());
  whenLost((lost) => {
    $("lost").hidden = !lost;
    $("lost").textContent = lost ? w(lost.busy ? "busy" : "lost") : "";
    document.body.classList.toggle("offline", Boolean(lost));
    // Without an answer there is no yes: the verdict of what was typed before does not stand there any longer.
    if (lost && !lost.busy && $("answer").dataset.state === "asking") {
      headline("", w("verdict.lost"));
      $("answer").dataset.state = "asking";
    }
  });
  for (const kind of ["dragenter", "dragover", "dragleave", "drop"]) {
    document.addEventListener(kind, (event) => {
      event.preventDefault();
      document.body.classList.toggle("dropping", kind === "dragover" || kind === "dragenter");
      if (kind === "drop") take(/** @type {DragEvent} */ (event).dataTransfer, event.target);
    });
  }
  begin(early.catalogue);
}

void start();
