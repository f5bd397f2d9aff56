// SPDX-License-Identifier: Apache-2.0
// What the page asks of its server, and what the server tells.

import { current, put } from "./store.js";

/** An answer that is an error. */
export class Refused extends Error {
  /**
   * @param {import("./types.js").Told} told
   * @param {number} status
   */
  constructor(told, status) {
    super([told.where ? `${told.where}: ${told.message}` : told.message, told.hint].filter(Boolean).join("; "));
    this.kind = told.kind;
    this.status = status;
  }
}

/**
 * @param {string} path
 * @param {RequestInit} [settings]
 * @returns {Promise<any>} the whole document
 */
export async function ask(path, settings) {
  const answer = await fetch(path, settings);
  if (answer.status === 204) return null;
  const isJson = (answer.headers.get("content-type") || "").startsWith("application/json");
  if (answer.ok) return isJson ? answer.json() : null;
  const body = isJson ? await answer.json() : { error: { kind: "server", message: await answer.text() } };
  if (body.now) put({ song: body.now });
  throw new Refused(body.error, answer.status);
}

/**
 * @param {string} path
 * @param {object} body
 */
export function send(path, body) {
  return ask(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
}

/**
 * Read something again and again: answers may overtake each other, and what was asked for before what is shown comes
 * too late.
 * @param {string} path
 */
export function latest(path) {
  let asked = 0,
    shown = 0;
  return {
    /** @returns {Promise<any>} the result, null where something later is shown */
    async read() {
      const turn = ++asked;
      const { result } = await ask(path);
      if (turn < shown) return null;
      shown = turn;
      return result;
    },
    /** What is shown was told otherwise: whatever was asked for before is too late. */
    outdate() {
      shown = ++asked;
    },
  };
}

const songs = latest("api/song");

/** Read the song anew; where nothing of it is another, the page stays as it is. */
export async function readSong() {
  const result = await songs.read();
  if (result && JSON.stringify(result) !== JSON.stringify(current().song)) put({ song: result });
}

/** The page's own changes go one after another, each to the song as the one before left it. @type {Promise<unknown>} */
let last = Promise.resolve();

/**
 * Make a change to the song that the page shows; it is told if another was first.
 * @param {string} name
 * @param {object} settings
 * @param {() => void} [again] what is done again for the asking where it was not made
 * @returns {Promise<any>} the result, null where it was not made
 */
export function change(name, settings, again = () => void change(name, settings)) {
  const made = last.then(() => changeNow(name, settings, again));
  last = made;
  return made;
}

/** @param {string} name @param {object} settings @param {() => void} again */
async function changeNow(name, settings, again) {
  const song = current().song;
  if (!song) return null;
  try {
    const found = await send(`api/do/${name}`, { version: song.version, ...settings });
    await readSong();
    return found.result;
  } catch (error) {
    const isMeanwhile = error instanceof Refused && error.kind === "changed";
    const { text } = isMeanwhile ? { text: "The song was changed elsewhere; yours was not made." } : said(error);
    put({ notice: { text, again } });
    return null;
  }
}

/**
 * Start a job; the events tell how it goes.
 * @param {string} command
 * @param {object} [settings]
 */
export async function start(command, settings = {}) {
  try {
    const job = await send("api/job", { command, ...settings });
    if (current().job?.id !== job.id) put({ job }); // else an event told already how it goes on
  } catch (error) {
    put({ notice: said(error) });
  }
}

/** Ask the job that runs to stop. */
export async function cancel() {
  try {
    await ask("api/job", { method: "DELETE" });
  } catch (error) {
    put({ notice: said(error) });
  }
}

/**
 * @param {unknown} error
 * @returns {{text: string}}
 */
export function said(error) {
  if (error instanceof Refused) return { text: error.message };
  return { text: "The server does not answer. Is `mixwright open` still running?" };
}

/** Listen to the server, for as long as the page is open; what changes is read anew. */
export function listen() {
  void refresh();
  hearken();
}

/** How long the page waits before it asks again whether the server is there, in milliseconds. */
const AGAIN_MS = 2000;

function hearken() {
  const events = new EventSource("api/events");
  events.addEventListener("hello", () => {
    // The first time the song is on its way already; what changed meanwhile is told by an event of its own.
    if (current().link !== "joining") void refresh();
    put({ link: "joined" });
  });
  events.addEventListener("song", () => void refresh());
  events.addEventListener("results", () => void refresh());
  events.addEventListener("job", (event) => put({ job: JSON.parse(event.data) }));
  events.addEventListener("notice", (event) => put({ notice: { text: JSON.parse(event.data).told } }));
  events.addEventListener("error", () => {
    put({ link: "lost" });
    if (events.readyState === EventSource.CLOSED) setTimeout(hearken, AGAIN_MS);
  });
}

/** What was told because the song could not be read; it goes away when it can be read again. */
let unread = "";

async function refresh() {
  try {
    await readSong();
    const before = current().job,
      job = await ask("api/job");
    if (current().job === before) put({ job }); // else an event told meanwhile how it goes on
    if (unread && current().notice?.text === unread) put({ notice: null });
    unread = "";
  } catch (error) {
    const notice = said(error);
    unread = notice.text;
    put({ notice });
  }
}
