// Asks featherline from a page: again by itself while there is no connection, and when it says to come back later.
// @ts-check

/** @typedef {import("./described.js").components["schemas"]} Schemas */
/** @typedef {"offline" | "busy"} Hindrance */
/** @typedef {(hindrance: Hindrance, seconds: number) => void} OnWait */

const FIRST_WAIT_S = 1;
const LONGEST_WAIT_S = 30;

export class Featherline {
  #url;
  #key;

  /**
   * @param {string} url
   * @param {string} key
   */
  constructor(url, key) {
    this.#url = url;
    this.#key = key;
  }

  /**
   * Returns what this key may sell.
   * @param {string} language
   * @param {AbortSignal} signal
   * @param {OnWait} onWait
   * @returns {Promise<Schemas["Catalogue"]>}
   */
  async catalogue(language, signal, onWait) {
    const response = await this.#ask("/v1/catalogue", language, { method: "GET", signal }, onWait);
    if (!response.ok) throw new Error(`The catalogue was refused: ${response.status}`);
    return response.json();
  }

  /**
   * Returns the offer for an order, or the problem with it.
   * @param {Schemas["Order"]} order
   * @param {string} language
   * @param {AbortSignal} signal
   * @param {OnWait} onWait
   * @returns {Promise<{ offer: Schemas["Offer"] } | { problem: Schemas["Problem"] }>}
   */
  async offer(order, language, signal, onWait) {
    const asked = { method: "POST", body: JSON.stringify(order), signal };
    const response = await this.#ask("/v1/offers", language, asked, onWait);
    return response.ok ? { offer: await response.json() } : { problem: await response.json() };
  }

  /**
   * Returns the picture of the first placement of an order, or null if there is none.
   * @param {Schemas["Order"]} order
   * @param {string} language
   * @param {AbortSignal} signal
   * @param {OnWait} onWait
   * @returns {Promise<Schemas["Picture"] | null>}
   */
  async picture(order, language, signal, onWait) {
    /** @type {Schemas["PictureRequest"]} */
    const wanted = { order, inline: true };
    const response = await this.#ask(
      "/v1/pictures", language, { method: "POST", body: JSON.stringify(wanted), signal }, onWait,
    );
    if (!response.ok) return null;
    /** @type {Schemas["PictureAnswer"]} */
    const answer = await response.json();
    return answer.pictures[0] ?? null;
  }

  /**
   * Returns where a picture's address is, for a page or a mail: it needs no key.
   * @param {Schemas["PictureAddress"]} address
   * @returns {string}
   */
  at(address) {
    return this.#url + address.svg;
  }

  /**
   * @param {string} path
   * @param {string} language
   * @param {RequestInit & { signal: AbortSignal }} asked
   * @param {OnWait} onWait
   * @returns {Promise<Response>}
   */
  async #ask(path, language, asked, onWait) {
    const headers = {
      Authorization: `Bearer ${this.#key}`, "Accept-Language": language, "Content-Type": "application/json",
    };
    for (let wait = FIRST_WAIT_S; ; wait = Math.min(2 * wait, LONGEST_WAIT_S)) {
      const response = await fetch(this.#url + path, { ...asked, headers }).catch((error) => {
        if (asked.signal.aborted) throw error;
        return null;
      });
      if (response !== null && response.status !== 429 && response.status !== 503) return response;
      const seconds = Number(response?.headers.get("Retry-After") ?? wait);
      onWait(response === null ? "offline" : "busy", seconds);
      await pause(seconds, asked.signal);
    }
  }
}

/**
 * Waits; less long if the connection comes back, and not at all once the signal says that nobody waits for it.
 * @param {number} seconds
 * @param {AbortSignal} signal
 * @returns {Promise<void>}
 */
export function pause(seconds, signal) {
  return new Promise((resolve, reject) => {
    const over = new AbortController();
    const end = (/** @type {() => void} */ then) => () => {
      clearTimeout(timer);
      over.abort();
      then();
    };
    const timer = setTimeout(end(resolve), 1000 * seconds);
    addEventListener("online", end(resolve), { signal: over.signal });
    signal.addEventListener("abort", end(() => reject(signal.reason)), { signal: over.signal });
  });
}
