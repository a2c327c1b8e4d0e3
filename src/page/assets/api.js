// Calls to the program. One place knows the addresses, the shape of problems, and when the program does not answer.

/** The call could not be done; `problems` say why, at which field and what to do next. */
export class Refused extends Error {
  constructor(problems) {
    super(problems.map((problem) => problem.what).join("; "));
    this.problems = problems;
  }
}
/** The answer to a question that nobody asks any more. */
export class Stale extends Error {}
/** The program does not answer: it was stopped, or the machine sleeps. */
export class Gone extends Error {}

const PAGE = crypto.randomUUID();
let seq = 0;

/** Told with `true` when the program stops answering and with `false` when it is there again. */
export const gone = { now: false, tell: () => {} };

function isGone(now) {
  if (gone.now === now) return;
  gone.now = now;
  gone.tell(now);
  if (now) setTimeout(knock, 1500);
}

async function knock() {
  try {
    const answer = await fetch("/api/shelf", { method: "GET", cache: "no-store" });
    if (answer.ok) return isGone(false);
  } catch {
    // Not yet.
  }
  setTimeout(knock, 1500);
}

/** Which files the scene may name: those that were brought under this name, or those of a demo. */
export const beside = { files: crypto.randomUUID(), demo: null };

async function call(path, question, signal) {
  const body = question?.text === undefined ? question : { ...beside, ...question };
  let answer;
  try {
    answer = await fetch(path, {
      method: body === undefined ? "GET" : "POST",
      headers: body === undefined ? {} : { "content-type": "application/json" },
      body: body === undefined ? undefined : JSON.stringify(body),
      signal,
    });
  } catch (fault) {
    if (fault.name === "AbortError") throw new Stale();
    isGone(true);
    throw new Gone();
  }
  isGone(false);
  if (answer.ok) return answer;
  if (answer.status === 409) throw new Stale();
  let problems = null;
  try {
    problems = (await answer.json()).problems;
  } catch {
    // No JSON: a plain refusal, told by its number below.
  }
  if (!Array.isArray(problems) || problems.length === 0) {
    problems = [{ severity: "error", what: `the program refused (${answer.status} ${answer.statusText})`, next: "try again, or undo the last change" }];
  }
  throw new Refused(problems);
}

/** The body of an answer; a connection that breaks half way counts as gone. */
async function whole(answer, how) {
  try {
    return await answer[how]();
  } catch (fault) {
    if (fault.name === "AbortError") throw new Stale();
    isGone(true);
    throw new Gone();
  }
}
const json = async (path, body, signal) => whole(await call(path, body, signal), "json");
const blobWithFacts = async (path, body, signal) => {
  const answer = await call(path, body, signal);
  return { facts: JSON.parse(answer.headers.get("x-weftlight") ?? "{}"), blob: await whole(answer, "blob") };
};
/** A question whose newest asking counts: `kin` keeps pictures of different uses from cancelling each other. */
const dated = (body, kin = "") => ({ ...body, page: PAGE + kin, seq: body.seq ?? nextSeq() });

/** The number of the next question. */
export const nextSeq = () => (seq += 1);

export const api = {
  start: () => json("/api/start"),
  starter: (answers) => json("/api/starter", answers),
  read: (text) => json("/api/read", { text }),
  edit: (text, edits) => json("/api/edit", { text, edits }),
  picture: (body, kin, signal) => blobWithFacts("/api/picture", dated(body, kin), signal),
  numbers: (text, kin) => json("/api/numbers", dated({ text }, kin)),
  gapChart: (text, detail, signal) => json("/api/gap-chart", dated({ text, detail }), signal),
  bring: (file) => json("/api/bring", { files: beside.files, ...file }),
  shelf: () => json("/api/shelf"),
  estimate: (label) => json("/api/cloth/estimate", label),
  photo: (photos) => json("/api/cloth/photo", photos),
  motion: (body) => blobWithFacts("/api/motion", dated(body)),
  async download(text, what, more = {}) {
    const answer = await call("/api/download", { text, what, ...more });
    const named = /filename="([^"]+)"/.exec(answer.headers.get("content-disposition") ?? "");
    return { blob: await whole(answer, "blob"), name: named ? named[1] : `weftlight-${what}` };
  },
};

/**
 * A lane does one thing at a time and remembers only the newest thing asked meanwhile: however fast a slider moves, there is
 * one question under way and at most one waiting.
 */
export class Lane {
  #work;
  #next = null;
  busy = false;

  /** `work(job)` returns a promise; what it throws is given to `failed`, stale answers to `stale`. */
  constructor(work, failed = () => {}, stale = () => {}) {
    this.#work = work;
    this.failed = failed;
    this.stale = stale;
  }

  ask(job) {
    this.#next = { job };
    if (!this.busy) this.#run();
  }

  /** Forgets what waits. */
  forget() {
    this.#next = null;
  }

  async #run() {
    this.busy = true;
    while (this.#next) {
      const { job } = this.#next;
      this.#next = null;
      try {
        await this.#work(job);
      } catch (fault) {
        if (fault instanceof Stale) this.stale(job);
        else this.failed(fault, job);
      }
    }
    this.busy = false;
  }
}

/** Calls `act` when nothing was asked for `idle` ms, and at the latest `most` ms after the first asking. */
export class Pause {
  #timer = null;
  #first = 0;
  constructor(act, idle, most = Infinity) {
    Object.assign(this, { act, idle, most });
  }
  /** Whether it waits. */
  get asked() {
    return this.#timer !== null;
  }
  ask() {
    const now = performance.now();
    if (this.#timer === null) this.#first = now;
    clearTimeout(this.#timer);
    const wait = Math.max(0, Math.min(this.idle, this.#first + this.most - now));
    this.#timer = setTimeout(() => {
      this.#timer = null;
      this.act();
    }, wait);
  }
  stop() {
    clearTimeout(this.#timer);
    this.#timer = null;
  }
}
