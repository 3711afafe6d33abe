/** What is asked for: kept as it was typed, and written as the requests of the service. */

const KEPT = "featherline.counter";

/** A mark as it is typed. */
export const freshMark = () => ({
  panel: "", sides: "both", kind: "text", text: "", font: "", tall: "letter_height", height: "10", spacing: "0", space: false,
  film: "", colour: "", pose: "centred", x: "0", y: "0", rotation: "", svg: "", file: "", directional: false,
  backing: { on: false, film: "", colour: "", border: "1.5" },
});

/** A panel of a walk-in shoe, as a ruler or a tracing has it. */
export const freshPanel = (name = "outer-quarter") => ({
  panel: name, face: "outer", form: "rectangle", width: "", height: "", traced: /** @type {any} */ (null), up: "",
  curvature: "", rise: "", over: "60", colour: "#8a8a86",
});

const fresh = () => ({
  kind: "book",
  book: { shoe: "", system: "", size: "", colour: "", consent: false },
  measured: {
    label: "", surface: "", inside: "", upper: "", upperName: "", panels: [freshPanel()], along: "", across: "",
    tests: /** @type {Record<string, string>} */ ({ water_drop: "", fingernail: "", thread: "", marking: "" }),
  },
  conditioning: "room",
  marks: [freshMark()],
  pairs: "1", more: "10", owner: "customer", reference: "",
  roster: /** @type {Roster | null} */ (null),
  trial: /** @type {any} */ (null),
});

/**
 * @typedef {ReturnType<typeof freshMark>} Mark
 * @typedef {ReturnType<typeof freshPanel>} Panel
 * @typedef {{ file: string, fields: string[], rows: { id: string, fields: Record<string, string>, size: string, pairs: string }[] }} Roster
 */

export let state = fresh();

export function restore() {
  const kept = sessionStorage.getItem(KEPT);
  if (!kept) return;
  try {
    state = { ...fresh(), ...JSON.parse(kept) };
  } catch {
    sessionStorage.removeItem(KEPT);
  }
}

export const save = () => sessionStorage.setItem(KEPT, JSON.stringify(state));
export const clear = () => { state = fresh(); };

/** A number as people write it, with a point. @param {string} text */
const plain = (text) => text.trim().replace(",", ".");
/** A length of the request. @param {string} text */
export const mm = (text) => `${plain(text)} mm`;

/** @param {Mark} mark */
export function artworkOf(mark) {
  if (mark.kind === "drawing") {
    return { kind: "svg", svg: mark.svg, height: mm(mark.height), ...(mark.directional ? { directional: true } : {}) };
  }
  const spacing = Number(plain(mark.spacing));
  return {
    kind: "text", text: mark.text, font: mark.font, [mark.tall]: mm(mark.height),
    ...(spacing ? { letter_spacing: spacing } : {}),
    ...(mark.space ? { fit_letters: "space" } : {}),
  };
}

/** @param {Mark} mark */
function poseOf(mark) {
  const turned = mark.rotation.trim() ? { rotation: `${plain(mark.rotation)} deg` } : {};
  if (mark.pose === "at") return { pose: { kind: "at", x: mm(mark.x), y: mm(mark.y), ...turned } };
  if (mark.pose === "searched") return { pose: { kind: "searched", ...turned } };
  return mark.rotation.trim() ? { pose: { kind: "centred", ...turned } } : {};
}

/** @param {Mark} mark */
export const placementOf = (mark) => ({
  panel: mark.panel,
  ...(mark.sides === "both" ? {} : { sides: mark.sides }),
  film: mark.film,
  colour: mark.colour,
  artwork: artworkOf(mark),
  ...poseOf(mark),
  ...(mark.backing.on
    ? { backing: { film: mark.backing.film, colour: mark.backing.colour, border: mm(mark.backing.border) } }
    : {}),
});

/** @param {Panel} panel */
function panelOf(panel) {
  return {
    panel: panel.panel,
    face: panel.face,
    shape: panel.form === "traced"
      ? panel.traced
      : { kind: panel.form, width: mm(panel.width), height: mm(panel.height) },
    ...(panel.curvature === "rise" && panel.rise.trim()
      ? { curvature: { rise: `${plain(panel.rise)} mm over ${plain(panel.over)} mm` } }
      : panel.curvature && panel.curvature !== "rise" ? { curvature: panel.curvature } : {}),
    ...(panel.up ? { up: panel.up } : {}),
    ...(panel.colour ? { colour: panel.colour } : {}),
  };
}

export function shoeOf() {
  const damp = state.conditioning === "room" ? {} : { conditioning: state.conditioning };
  if (state.kind === "book") {
    const { shoe, system, size, colour, consent } = state.book;
    return {
      kind: "book", shoe, size: { system, value: plain(size) }, ...(colour ? { colour } : {}), ...(consent ? { makers_consent: true } : {}), ...damp,
    };
  }
  const { label, surface, inside, upper, panels, tests } = state.measured;
  const seen = Object.fromEntries(Object.entries(tests).filter(([, outcome]) => outcome));
  return {
    kind: "measured",
    label,
    ...(surface ? { surface } : {}),
    ...(Object.keys(seen).length ? { tests: seen } : {}),
    ...(upper ? { upper } : {}),
    panels: panels.map(panelOf),
    ...(inside.trim() ? { inside_length: mm(inside) } : {}),
    ...damp,
  };
}

const SEEN = /** @type {Record<string, object>} */ ({
  bond: { bond: "holds", upper: "unchanged" }, nothing: { bond: "lifts", upper: "unchanged" }, harm: { upper: "marked" },
});

/** The pressings of a trial that has ended, as observations for the next question. */
function observed() {
  const trial = state.trial;
  if (!trial?.ended || (state.kind === "measured" && !state.measured.upper)) return {};
  const onto = { kind: "panel", shoe: shoeOf(), panel: trial.panel };
  return {
    observations: trial.done.map((/** @type {any} */ step) => {
      const { bond, ...looks } = /** @type {any} */ (SEEN[step.seen]);
      const { cover, temperature_c, pressure, dwell_s } = step.setting;
      return {
        film: trial.film, onto, cover, temperature: `${temperature_c} degC`, pressure, dwell: `${dwell_s} s`,
        ...(step.film && bond ? { bond } : {}), ...looks,
      };
    }),
  };
}

/** What still has to be said before the service can be asked, as keys of words. */
export function missing() {
  const gaps = [];
  if (state.kind === "book" ? !state.book.size.trim() : !state.measured.label) {
    gaps.push(state.kind === "book" ? "missing.size" : "missing.label");
  }
  if (state.kind === "measured" && state.measured.panels.some((panel) => panel.form !== "traced" && !(panel.width.trim() && panel.height.trim()))) {
    gaps.push("missing.panel");
  }
  if (state.marks.some((mark) => (mark.kind === "text" ? !mark.text.trim() : !mark.svg))) gaps.push("missing.mark");
  if (state.marks.some((mark) => !mark.height.trim())) gaps.push("missing.height");
  return gaps;
}

/** The order that is asked for; the numbers of pairs are those typed. */
export function orderOf() {
  const pairs = Math.round(Number(plain(state.pairs))) || 0;
  const more = Math.round(Number(plain(state.more))) || 0;
  return {
    shoe: shoeOf(),
    placements: state.marks.map(placementOf),
    ...(state.owner === "customer" ? {} : { owner: state.owner }),
    ...(pairs === 1 ? {} : { pairs }),
    ...(more > 1 ? { quantities: [more] } : {}),
    ...(state.reference.trim() ? { reference: state.reference.trim() } : {}),
    ...observed(),
  };
}

/** The question for the picture of a placement. @param {ReturnType<typeof orderOf>} order @param {number} at */
export function pictured(order, at) {
  const { backing: _, ...placement } = /** @type {any} */ (order.placements[at]);
  return { shoe: order.shoe, ...placement };
}

/**
 * Does what a mend says: the change is for a field of the request below a placement.
 * @param {Mark} mark @param {string} subject @param {string | number} value @param {any} catalogue
 */
export function mend(mark, subject, value, catalogue) {
  const place = subject.replace(/^\/placements\/\d+/, "");
  const bare = String(value).replace(/ mm$/, "");
  if (place === "/artwork/letter_spacing") mark.spacing = bare;
  else if (place === "/artwork/letter_height" || place === "/artwork/height") {
    mark.tall = place.slice("/artwork/".length);
    mark.height = bare;
  } else if (place === "/artwork/font") mark.font = String(value);
  else if (place === "/film") changeFilm(mark, String(value), catalogue);
  else if (place === "/panel") mark.panel = String(value);
  else if (place === "/pose") mark.pose = String(value);
  else return false;
  return true;
}

/** Takes another film, in the colour that is nearest to the one before. @param {{ film: string, colour: string }} mark @param {string} film @param {any} catalogue */
export function changeFilm(mark, film, catalogue) {
  const colours = (/** @type {string} */ id) => catalogue.films.find((/** @type {any} */ each) => each.id === id)?.colours ?? [];
  const before = colours(mark.film).find((/** @type {any} */ colour) => colour.id === mark.colour);
  const near = [...colours(film)].sort((a, b) => distance(a.hex, before?.hex) - distance(b.hex, before?.hex));
  const same = near.find((colour) => colour.id === mark.colour);
  mark.film = film;
  mark.colour = (same ?? near[0])?.id ?? "";
}

/** @param {string} one @param {string | undefined} other */
function distance(one, other) {
  if (!other) return 0;
  return [1, 3, 5].reduce((sum, at) => sum + (parseInt(one.slice(at, at + 2), 16) - parseInt(other.slice(at, at + 2), 16)) ** 2, 0);
}
