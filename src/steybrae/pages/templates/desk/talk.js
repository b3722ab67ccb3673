// Everything said to the server, which is the program that opened this page.

const JSON_TYPE = { "Content-Type": "application/json" };

/** What the server refuses, in its own sentence. */
export class Refused extends Error {}

async function answered(response) {
  if (response.ok) return response;
  let said = `The desk answered ${response.status}.`;
  try { said = (await response.json()).refused ?? said; } catch { /* not in words: the number has to do */ }
  throw new Refused(said);
}

async function ask(path, options) {
  try {
    return await fetch(path, options);
  } catch {
    if (options?.signal?.aborted) throw new Refused("");
    throw new Refused("The desk does not answer: has its program ended? Start it again and use the page that it opens, at a new address; what was kept is there.");
  }
}

export const get = async (path) => (await answered(await ask(path))).json();

export async function post(path, data, { headers = JSON_TYPE, signal } = {}) {
  const body = headers === JSON_TYPE ? JSON.stringify(data) : data;
  return answered(await ask(path, { method: "POST", headers, body, signal }));
}

export const postGpx = async (text) =>
  (await post("open", text, { headers: { "Content-Type": "application/gpx+xml" } })).json();

/** One request at a time; of those that come meanwhile only the newest is sent. */
export class Newest {
  #task; #busy = null; #next = null; #rest = Promise.resolve();

  constructor(task) { this.#task = task; }

  /** Kept when nothing is under way any more. */
  get rest() { return this.#rest; }

  ask(...given) {
    this.#next = given;
    if (!this.#busy) this.#rest = this.#work();
    return this.#rest;
  }

  async #work() {
    try {
      while (this.#next) {
        const now = this.#next;
        this.#next = null;
        this.#busy = new AbortController();
        await this.#task(...now, this.#busy.signal);
      }
    } finally {
      this.#busy = null; // a task that fails does not end all others
    }
  }

  /** Wait no longer for what is under way where something newer is asked. */
  hurry() { if (this.#next) this.#busy?.abort(); }
}

/** Points as the server takes them: by latitude and longitude where they are known, else by row and column. */
export const plain = (lines) => lines.map(({ name, role, points }) => ({
  name,
  role,
  points: points.map((point) => point.lat === undefined
    ? { row: point.row, col: point.col, name: point.name }
    : { lat: point.lat, lon: point.lon, name: point.name }),
}));

const KEEPALIVE_BYTES = 60_000; // browsers allow 64 KiB of such requests

/** The plan as the server keeps it for the next time: saved soon after each change, and when the page goes. */
export class Draft {
  #revision; #content; #told; #conflict; #changes = 0; #saved = 0; #timer = 0; #under = 0; #queue;

  constructor(revision, { content, told, conflict }) {
    this.#revision = revision;
    this.#content = content;
    this.#told = told;
    this.#conflict = conflict;
    this.#queue = new Newest(() => this.#put());
    addEventListener("pagehide", () => this.#leave());
    document.addEventListener("visibilitychange", () => { if (document.hidden) this.#now(); });
  }

  changed() {
    this.#changes += 1;
    this.#told("Not kept yet", false);
    this.#soon(300);
  }

  /** Take what another page wrote as the ground that further changes stand on. */
  accept(revision) { this.#revision = revision; }

  #soon(delay) {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#now(), delay);
  }

  #now() {
    clearTimeout(this.#timer);
    if (this.#saved !== this.#changes) this.#queue.ask();
  }

  #send(revision) {
    const body = JSON.stringify({ revision, ...this.#content() });
    const keepalive = body.length < KEEPALIVE_BYTES;
    return fetch("draft", { method: "PUT", headers: JSON_TYPE, body, keepalive });
  }

  async #put() {
    const sent = this.#changes;
    this.#under += 1;
    try {
      const response = await this.#send(this.#revision);
      if (response.status === 409) {
        this.#conflict(await response.json());
        return;
      }
      this.#revision = (await (await answered(response)).json()).revision;
      this.#saved = sent;
      if (sent === this.#changes) this.#told("Kept", true);
    } catch (error) {
      this.#told(error instanceof Refused ? `Not kept: ${error.message}` : "Not kept: the desk does not answer", false);
      this.#soon(2000);
    } finally {
      this.#under -= 1;
    }
  }

  #leave() {
    if (this.#saved !== this.#changes) this.#send(this.#revision + this.#under).catch(() => {});
  }
}
