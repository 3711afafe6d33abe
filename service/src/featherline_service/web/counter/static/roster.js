/** A list of names, numbers and sizes: its rows with their verdicts, mended in place, and one printout of all. */

import { $, button, fill, h } from "./elements.js";
import { readList } from "./csv.js";
import { askFor, clearFaults, headline, hideBench, languageOf, refuse, sentenceOf, speakOnce, stopQuotes } from "./answer.js";
import { drawCautions, drawPressings, speaksIn } from "./bench.js";
import { mend, missing, orderOf, state } from "./order.js";
import { Line, Problem, ask } from "./service.js";
import { SYSTEMS } from "./shoe.js";
import { money, number, w } from "./words.js";

/** @typedef {import("./shoe.js").Page} Page */

const SIZE = ["size", "shoe_size", "grosse", "schuhgrosse", "groesse", "pointure", "talla"];
const PAIRS = ["pairs", "paare", "paires", "pares", "quantity", "anzahl"];
const MARK = /^(?:([a-z][a-z -]*?)\s*)?(\d{1,3}(?:[.,]\d{1,2}| [12]\/3)?)$/i;
const MOST_TOLD = 8;
const rosters = new Line();
const pictures = new Line();

/** Takes a list; its other columns become the fields of the texts. @param {Page} page @param {File} file */
export async function takeList(page, file) {
  const { columns, rows } = readList(await file.text());
  const most = page.catalogue.limits.rows;
  const size = columns.find((name) => SIZE.includes(name));
  const pairs = columns.find((name) => PAIRS.includes(name));
  const fields = columns.filter((name) => name !== size && name !== pairs && name !== "id");
  if (!rows.length || !fields.length || rows.length > most) {
    page.message(w(rows.length > most ? "roster.long" : "roster.unread", { file: file.name, most }));
    return;
  }
  state.roster = {
    file: file.name,
    fields,
    rows: rows.map((row) => ({
      id: row["id"] ?? "",
      fields: Object.fromEntries(fields.map((name) => [name, row[name] ?? ""])),
      size: (size && row[size]) || "",
      pairs: (pairs && row[pairs]) || "",
    })),
  };
  if (!state.marks.some((mark) => mark.text.includes("{"))) {
    state.marks.forEach((mark, at) => { if (mark.kind === "text" && fields[at]) mark.text = `{${fields[at]}}`; });
  }
  if (!state.book.size) {
    const read = state.roster.rows.map((row) => sizeOf(row.size)).find(Boolean);
    if (read) Object.assign(state.book, { system: read.system, size: read.value });
  }
  page.message(w("roster.taken", { file: file.name, rows: rows.length }));
  page.changed(true);
  drawRoster(page);
}

/** The size of a cell; null if it cannot be read. @param {string} text */
function sizeOf(text) {
  const read = MARK.exec(text.trim());
  if (!read) return null;
  const name = (read[1] ?? "").trim().toLowerCase().replaceAll(" ", "-");
  const system = name ? SYSTEMS.find((each) => each.toLowerCase() === name) : state.book.system;
  return system ? { system, value: (read[2] ?? "").replace(",", ".") } : null;
}

/** What is asked of a row alone: its fields in the texts, its size. @param {number} at */
function orderOfRow(at) {
  const { order, rows } = requestOf();
  const { fields, size } = /** @type {any} */ (rows[at]);
  const filled = (/** @type {string} */ text) => text.replace(/\{([^{}]+)\}/g, (_, name) => fields[name.trim()] ?? "");
  const placements = order.placements.map((/** @type {any} */ each) =>
    each.artwork.text === undefined ? each : { ...each, artwork: { ...each.artwork, text: filled(each.artwork.text) } });
  return { ...order, placements, ...(size ? { shoe: { ...order.shoe, size } } : {}) };
}

/** Rows whose pictures are shown. @type {Set<number>} */
const pictured = new Set();

/** Shows the pictures of the rows that are opened, or takes them away. */
function drawPictured() {
  for (const [at, line] of lines.entries()) {
    line.more.setAttribute("aria-expanded", String(pictured.has(at)));
    if (!pictured.has(at)) fill(line.pictures, []);
    line.shown.hidden = !pictured.has(at) && !line.why.childNodes.length;
  }
  const wanted = [...pictured];
  pictures.ask(wanted.length ? async () => {
    for (const at of wanted) {
      const into = lines[at]?.pictures;
      if (!into || pictures.overtaken) return;
      try {
        const response = await ask("/v1/pictures", { order: orderOfRow(at), inline: true });
        const { pictures: drawn } = await response.json();
        const addresses = drawn.map((/** @type {any} */ each) => URL.createObjectURL(new Blob([each.svg], { type: "image/svg+xml" })));
        const images = drawn.map((/** @type {any} */ each, /** @type {number} */ number) => h("img", { src: addresses[number], alt: each.alternative, lang: languageOf(response) }));
        await Promise.allSettled(images.map((/** @type {any} */ image) => image.decode()));
        for (const address of addresses) URL.revokeObjectURL(address);
        fill(into, images);
      } catch (error) {
        if (!(error instanceof Problem)) throw error;
        fill(into, [h("p", {}, error.faults[0]?.detail ?? error.detail)]);
      }
    }
  } : null);
}

function requestOf() {
  const { quantities: _, pairs: __, observations: ___, ...order } = /** @type {any} */ (orderOf());
  const rows = (state.roster?.rows ?? []).map((row) => {
    const size = row.size && state.kind === "book" ? sizeOf(row.size) : null;
    const pairs = Number(row.pairs || "1");
    const faults = [
      row.size && state.kind === "book" && !size && w("roster.size", { size: row.size }),
      !(Number.isInteger(pairs) && pairs > 0) && w("roster.pairs", { pairs: row.pairs }),
    ].filter(Boolean);
    return {
      ...(row.id ? { id: row.id } : {}), fields: Object.fromEntries(Object.entries(row.fields).filter(([, text]) => text)),
      ...(size ? { size } : {}), ...(faults.length ? { faults } : pairs === 1 ? {} : { pairs }),
    };
  });
  return { order, rows };
}

/** @type {any[]} */
let lines = [];

/** Draws the list; its answers come later. @param {Page} page */
export function drawRoster(page) {
  const roster = state.roster;
  $("roster").hidden = !roster;
  if (!roster) {
    fill($("roster"), []);
    return;
  }
  lines = [];
  pictured.clear();
  const cell = (/** @type {string} */ value, /** @type {string} */ label, /** @type {(value: string) => void} */ set, /** @type {string} */ id) =>
    h("td", {}, h("input", { type: "text", id, value, "aria-label": label, spellcheck: "false", oninput: (/** @type {any} */ event) => {
      set(event.target.value);
      page.changed();
    } }));
  const body = roster.rows.map((row, at) => {
    const line = { verdict: h("td", { class: "told" }), price: h("td", { class: "sum" }), why: h("div", { class: "why" }), tr: null, more: null, shown: null, pictures: h("div", { class: "pictured" }) };
    lines.push(line);
    line.more = button(w("roster.picture"), () => {
      if (!pictured.delete(at)) pictured.add(at);
      drawPictured();
    }, { id: `row-${at}-picture-`, class: "small", "aria-expanded": "false", "aria-label": w("roster.cell", { field: w("roster.picture"), row: at + 1 }) });
    line.shown = h("tr", { class: "below", hidden: true }, h("td", {}), h("td", { colspan: String(roster.fields.length + (state.kind === "book" ? 5 : 4)) }, line.why, line.pictures));
    const label = (/** @type {string} */ name) => w("roster.cell", { field: name, row: at + 1 });
    line.tr = h("tr", {}, h("th", { scope: "row" }, String(at + 1)),
      roster.fields.map((name) => cell(row.fields[name] ?? "", label(name), (value) => { row.fields[name] = value; }, `row-${at}-${name}`)),
      state.kind === "book" && cell(row.size, label(w("size")), (value) => { row.size = value; }, `row-${at}-size-`),
      cell(row.pairs, label(w("pairs")), (value) => { row.pairs = value; }, `row-${at}-pairs-`),
      line.verdict, line.price, h("td", { class: "more" }, line.more));
    return [line.tr, line.shown];
  }).flat();
  const heads = [w("roster.row"), ...roster.fields, ...(state.kind === "book" ? [w("size")] : []), w("pairs"), w("roster.verdict"), w("roster.price"), w("roster.picture")];
  fill($("roster"), [
    h("h2", { id: "roster-title" }, w("roster.title", { file: roster.file })),
    h("p", { id: "roster-sum" }),
    h("div", { id: "roster-all", class: "why" }),
    h("div", { class: "row" },
      button(w("roster.print"), () => window.print(), { id: "print", class: "main" }),
      button(w("roster.forget"), () => {
        state.roster = null;
        drawRoster(page);
        page.changed(true);
      }, { id: "roster-forget" })),
    h("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": w("roster.rows") },
      h("table", {}, h("thead", {}, h("tr", {}, heads.map((name) => h("th", { scope: "col" }, name)))), h("tbody", {}, body))),
    h("div", { id: "roster-bench" }),
  ]);
}

/** @param {Page} page */
export function askRoster(page) {
  stopQuotes();
  hideBench();
  $("trial").hidden = true;
  const gaps = missing();
  if (gaps.length) {
    headline("", w("verdict.none"));
    fill($("reasons"), gaps.map((gap) => h("li", {}, w(gap))));
    rosters.ask(null);
    return;
  }
  $("answer").dataset.state = "asking";
  const request = requestOf();
  rosters.ask(async () => {
    try {
      const response = await askFor("/v1/rosters", "/v1/offers/rosters", request);
      show(page, await response.json(), languageOf(response));
    } catch (error) {
      refuse(page, error);
    }
  });
}

/** @param {Page} page @param {any} answer @param {string} language */
function show(page, answer, language) {
  clearFaults();
  fill($("pictures"), []);
  fill($("prices"), []);
  const price = answer.price ? money(answer.price.paid ?? answer.price.tax?.gross ?? answer.price.total) : "";
  const { ready, trial, declined, faulty } = answer.counts;
  const counts = w("roster.counts", { ready, trial, declined: declined + faulty });
  const worst = declined + faulty ? "decline" : answer.verdict;
  headline(worst, w("roster.head", { ready, all: answer.rows.length }), price, rosters.overtaken);
  $("price").textContent = price && w("roster.total", { total: price, pairs: answer.pairs });
  const first = state.roster?.fields[0] ?? "";
  fill($("reasons"), answer.rows.filter((/** @type {any} */ row) => row.verdict !== "ready").slice(0, MOST_TOLD).map((/** @type {any} */ row) => {
    const why = row.faults[0]?.detail ?? row.reasons.find((/** @type {any} */ reason) => reason.verdict === row.verdict)?.sentence ?? "";
    return h("li", { class: row.verdict ?? "decline" }, h("a", { href: `#row-${row.row}-${first}` }, w("roster.bad", { row: row.row + 1, why })));
  }));
  speakOnce(`${counts}. ${price}`);
  $("roster-sum").textContent = [counts, price].filter(Boolean).join(" · ");
  /** @param {any} row */
  const sentencesOf = (row) => [...new Set(/** @type {string[]} */ ([
    ...row.faults.map((/** @type {any} */ fault) => fault.detail),
    ...row.reasons.filter((/** @type {any} */ reason) => reason.verdict !== "ready").map((/** @type {any} */ reason) => reason.sentence),
  ]))];
  // What holds for every row that was read is said once.
  const read = answer.rows.filter((/** @type {any} */ row) => row.verdict !== null).map(sentencesOf);
  const shared = read.length > 1 ? read[0].filter((/** @type {string} */ sentence) => read.every((/** @type {string[]} */ each) => each.includes(sentence))) : [];
  fill($("roster-all"), shared.length ? [h("p", {}, h("strong", {}, w("roster.all"))), ...shared.map((/** @type {string} */ sentence) => sentenceOf(sentence, language, "p"))] : []);
  for (const row of answer.rows) {
    const line = lines[row.row];
    if (!line) continue;
    const bad = row.verdict === null || row.verdict === "decline";
    line.tr.className = row.verdict ?? "fault";
    line.verdict.textContent = w(row.verdict === null ? "roster.fault" : `verdict.${row.verdict}`);
    line.price.textContent = row.price ? money(row.price.total) : "";
    fill(line.why, sentencesOf(row).filter((sentence) => !shared.includes(sentence)).map((sentence) => sentenceOf(sentence, language, "p")));
    line.shown.hidden = !pictured.has(row.row) && !line.why.childNodes.length;
    for (const name of state.roster?.fields ?? []) document.getElementById(`row-${row.row}-${name}`)?.toggleAttribute("data-bad", bad);
  }
  if (pictured.size) drawPictured();
  const tight = answer.rows.some((/** @type {any} */ row) => row.reasons.some((/** @type {any} */ reason) => ["fit.fine-gap", "fit.touch"].includes(reason.code) && reason.verdict !== "ready"));
  const spaced = tight && state.marks.some((mark) => mark.kind === "text" && !mark.space);
  const mends = [spaced && button(w("space"), () => {
    for (const mark of state.marks) mark.space = mark.kind === "text";
    page.changed(true);
    $("verdict").focus();
  }, { id: "roster-space" }), ...answer.largest_letters
    .filter((/** @type {any} */ each) => each.letter_height_mm && declined)
    .map((/** @type {any} */ each) => {
      const height = Math.floor(each.letter_height_mm * 10) / 10;
      return button(w("roster.largest", { value: number(height), row: each.row + 1 }), () => {
        const mark = state.marks[each.placement];
        if (mark) mend(mark, "/artwork/letter_height", `${height} mm`, page.catalogue);
        page.changed(true);
        $("verdict").focus();
      });
    }), h("a", { href: "#roster" }, w("roster.go"))];
  fill($("mends"), [h("div", { class: "row" }, mends.filter(Boolean))]);
  const plans = answer.plans ?? [];
  speaksIn(language);
  fill($("roster-bench"), plans.length
    ? [
        ...plans.map((/** @type {any} */ plan) => h("section", { "aria-label": w("roster.plan", { rows: rowsOf(plan.rows) }) },
          h("h3", {}, w("roster.plan", { rows: rowsOf(plan.rows) })), h("div", { class: "pressings" }, drawPressings(plan.pressings, page.catalogue)))),
        drawCautions(plans.flatMap((/** @type {any} */ plan) => plan.pressings)),
      ]
    : []);
}

/** Numbers of rows, as people count: 1-3, 5. @param {number[]} rows */
function rowsOf(rows) {
  const spans = /** @type {[number, number][]} */ ([]);
  for (const row of rows) {
    const last = spans[spans.length - 1];
    if (last && last[1] === row) last[1] = row + 1;
    else spans.push([row + 1, row + 1]);
  }
  return spans.map(([first, last]) => (first === last ? `${first}` : `${first}–${last}`)).join(", ");
}

