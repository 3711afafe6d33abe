/** Asking the service: one question of a kind at a time, the newest first, again by itself when it cannot be reached. */

import { language } from "./words.js";

const KEY = "featherline.key";
const LONGEST_WAIT_S = 8;

/** The service cannot be reached, or is busy: ask again after some seconds. */
export class Lost extends Error {
  /** @param {boolean} busy @param {number} [after] */
  constructor(busy, after = 0) {
    super(busy ? "busy" : "lost");
    this.busy = busy;
    this.after = after;
  }
}

/** The service answered with a problem document (RFC 9457). */
export class Problem extends Error {
  /** @param {{ status: number, title: string, detail: string, errors?: { pointer: string, detail: string }[] }} document */
  constructor(document) {
    super(document.title);
    this.status = document.status;
    this.detail = document.detail;
    this.faults = document.errors ?? [];
  }
}

/**
 * A module that is not of the first view: without a connection it is asked for again, as an answer is.
 * @template T @param {() => Promise<T>} load
 */
export async function needed(load) {
  try {
    return await load();
  } catch {
    throw new Lost(false);
  }
}

export const key = () => sessionStorage.getItem(KEY) ?? "";
/** @param {string} text */
export const keep = (text) => sessionStorage.setItem(KEY, text);

/**
 * Asks once.
 * @param {string} path @param {object | null} [body] @param {string} [accept]
 * @returns {Promise<Response>}
 */
export async function ask(path, body = null, accept = "application/json") {
  /** @type {Record<string, string>} */
  const headers = { Accept: accept, "Accept-Language": language };
  if (key()) headers["Authorization"] = `Bearer ${key()}`;
  const file = body instanceof Blob;
  if (body) headers["Content-Type"] = file ? body.type : "application/json";
  let answer;
  try {
    answer = await fetch(path, {
      method: body ? "POST" : "GET", headers, body: file ? body : body ? JSON.stringify(body) : null, credentials: "omit",
    });
  } catch {
    throw new Lost(false);
  }
  if (answer.ok) return answer;
  if ([429, 502, 503, 504].includes(answer.status)) {
    throw new Lost(answer.status === 429 || answer.status === 503, Number(answer.headers.get("Retry-After")) || 1);
  }
  const type = answer.headers.get("Content-Type") ?? "";
  if (!type.includes("problem+json")) throw new Lost(false);
  throw new Problem(await answer.json());
}

/** Whether questions wait for the service, told to whoever shows it. @type {Set<Line>} */
const waiting = new Set();
/** @type {(lost: Lost | null) => void} */
let tell = () => {};
/** @param {(lost: Lost | null) => void} listener */
export const whenLost = (listener) => { tell = listener; };

/** One question of a kind at a time. What is asked meanwhile waits, and only the newest of it is asked. */
export class Line {
  /** @type {(() => Promise<void>) | null} */
  #next = null;
  #busy = false;
  #wake = () => {};

  constructor() {
    window.addEventListener("online", () => this.#wake());
  }

  /** @param {(() => Promise<void>) | null} job */
  ask(job) {
    this.#next = job;
    this.#wake();
    if (!this.#busy) void this.#run();
  }

  /** Whether a newer question waits. */
  get overtaken() {
    return this.#next !== null;
  }

  async #run() {
    this.#busy = true;
    let tries = 0;
    while (this.#next) {
      const job = this.#next;
      this.#next = null;
      try {
        await job();
        tries = 0;
        if (waiting.delete(this) && !waiting.size) tell(null);
      } catch (error) {
        if (!(error instanceof Lost)) throw error;
        this.#next ??= job;
        waiting.add(this);
        tell(error);
        const after = Math.min(Math.max(error.after, 2 ** tries / 2), LONGEST_WAIT_S);
        tries += 1;
        await new Promise((resolve) => {
          const timer = setTimeout(resolve, after * 1000);
          this.#wake = () => { clearTimeout(timer); setTimeout(resolve, 200); };
        });
        this.#wake = () => {};
      }
    }
    this.#busy = false;
  }
}
