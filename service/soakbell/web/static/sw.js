"use strict";
/* Pages for where there is no signal: from the service if it answers soon, else as they were last. Whatever the
   service answers is shown, be it late or a fault: a kept call never stands in for its answer. */

importScripts(`/static/page.js${self.location.search}`);

const PAGES = "soakbell pages", FILES = `soakbell files ${self.location.search}`;
const STATIC = ["/static/page.css", "/static/page.js", "/static/icon.svg", "/static/soakbell.webmanifest"];
const KEPT = /^\/(?:why|bench|bait|season|log(?:\/[a-z-]+)?|strings(?:\/[^/]+)?)?$/;
const FORMS = /^\/log(?:\/[a-z-]+)?$/;
const OF_CALL = ["/", "/why", "/bait", "/season"]; // the last two in parts
const PATIENCE_MS = 3000, OF_USE_MS = 30_000;
const OF_PROXY = [502, 504]; // what a proxy says where the service doesn't answer it

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const files = await caches.open(FILES);
    await files.addAll(STATIC.map((path) => `${path}${self.location.search}`));
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== FILES && name !== PAGES) await caches.delete(name);
    await self.clients.claim();
  })());
});

self.addEventListener("message", (event) => event.waitUntil(
  event.data.late ? tellOfAnswer(event.source, event.data.late) : self.clients.claim(),
));

self.addEventListener("sync", (event) => {
  if (event.tag !== "soakbell") return;
  event.waitUntil(soakbell.sync().then((why) => { if (why === "no signal") throw new Error(why); }));
});

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST") {
    if (url.pathname === "/in") {
      changeHands();
      somebodyComes = true;
    }
    if (url.pathname === "/out" && request.mode === "navigate") event.respondWith(signOut(request));
    return;
  }
  if (request.method !== "GET") return;
  if (url.pathname.startsWith("/static/")) return event.respondWith(fileOf(request));
  const asksPage = request.mode === "navigate" || (request.headers.get("Accept") || "").startsWith("text/html");
  if (asksPage && KEPT.test(url.pathname)) event.respondWith(pageOf(event, request, url.pathname));
});

/* Somebody may have signed in: the next page that is answered is the first of his. No answer to /in is asked for here, or
   a form on another site's page would come from ours. */
let somebodyComes = false;

/* Counts how often somebody came, left, or was found to have left: what was asked for before is nobody's to keep, nor
   to be shown late. */
let hands = 0;
const changeHands = () => {
  hands += 1;
  asking.clear();
  lateAnswers.clear();
};

/* Pages go once the service has answered, and not before: without them nothing can be told at sea. */
const signOut = async (request) => {
  const answer = await fetch(request).catch(() => null);
  if (!answer || OF_PROXY.includes(answer.status)) return noSignal("You are still signed in, and your pages are kept.");
  if (answer.redirected || answer.type === "opaqueredirect" || answer.status === 401) {
    changeHands();
    await caches.delete(PAGES);
  }
  return answer;
};

const fileOf = async (request) => {
  const kept = await caches.open(FILES);
  const same = await kept.match(request);
  if (same) return same;
  try {
    return await fetch(request);
  } catch (fault) {
    const older = await kept.match(request, { ignoreSearch: true });
    if (older) return older;
    throw fault;
  }
};

/* What was asked last of each path: a promise of the answer, null where none came. */
const asking = new Map();
/* Answers that came late, for the page that loads anew because of them. */
const lateAnswers = new Map();

/* Kept under its path alone: what a query says was of one moment. */
const pageOf = async (event, request, path) => {
  const late = lateAnswers.get(path);
  lateAnswers.delete(path);
  if (late && request.mode === "navigate" && Math.abs(Date.now() - late.at) < OF_USE_MS) return late.answer;
  const asked = ask(request, path);
  asking.set(path, asked);
  event.waitUntil(asked);
  const patience = new Promise((done) => { setTimeout(done, PATIENCE_MS, "late"); });
  const answer = await Promise.race([asked, patience]);
  if (answer && answer !== "late" && !OF_PROXY.includes(answer.status)) return answer;
  const kept = await (await caches.open(PAGES)).match(path);
  if (kept) return marked(kept, answer === "late" ? "late" : "none", await lookedAt(path));
  return (await asked) || noSignal();
};

const ask = async (request, path) => {
  const asker = hands;
  let answer;
  try {
    answer = await fetch(request);
  } catch {
    return null;
  }
  if (asker !== hands) return answer;
  if (somebodyComes && answer.ok && !answer.redirected) {
    somebodyComes = false;
    await caches.delete(PAGES);
  }
  const pages = await caches.open(PAGES);
  if (asker !== hands) return answer;
  try {
    if (answer.redirected || answer.type === "opaqueredirect" || answer.status === 401) await signedOut(pages);
    else if (answer.ok && !new URL(request.url).search) {
      await pages.put(path, answer.clone());
      await pages.delete(lookOf(path));
    } else if (answer.status >= 500 && !OF_PROXY.includes(answer.status) && OF_CALL.includes(path)) {
      for (const one of OF_CALL) await pages.delete(one);
    }
  } catch {
    await pages.delete(path); // no room: nothing older may stand in for it either
  }
  return answer;
};

/* A session that has ended takes what the log holds; forms stay, by the names of strings, since there may be no signal
   for long. */
const signedOut = async (pages) => {
  changeHands();
  for (const request of await pages.keys()) {
    const { pathname } = new URL(request.url);
    if (!FORMS.test(pathname)) await pages.delete(request);
    else {
      const kept = await pages.match(request);
      const bare = (await kept.text()).replace(/<ul class="rows">.*?<\/ul>/gs, "").replace(/ data-(?:start|end)-(?:lat|lon)="[^"]*"/g, "");
      await pages.put(request, new Response(bare, { headers: kept.headers }));
    }
  }
};

/* A page that was shown as it was kept, since no answer had come, hears of the answer that comes after all. */
const tellOfAnswer = async (page, path) => {
  const asker = hands;
  const answer = await (asking.get(path) ?? null);
  if (asker !== hands || !answer || OF_PROXY.includes(answer.status)) return;
  if (!answer.bodyUsed) lateAnswers.set(path, { answer, at: Date.now() });
  page.postMessage({ answered: path });
};

const noSignal = (words = "This page was not kept on this phone.") => new Response(
  '<!doctype html><html lang="en-US"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
  + "<title>No signal, or no answer</title></head><body><main><h1>No signal, or no answer</h1>"
  + `<p>${words}</p>`
  + '<p><a href="/log">To the log</a></p></main></body></html>',
  { status: 503, headers: { "Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": "default-src 'none'" } },
);

/* Beside each kept page of the call: the latest moment it was looked at. */
const lookOf = (path) => `${path}?looked`;

/* The latest look before this one, which is kept. */
const lookedAt = async (path) => {
  if (!OF_CALL.includes(path)) return undefined;
  const [pages, now] = [await caches.open(PAGES), Date.now()];
  const before = await pages.match(lookOf(path));
  const latest = before && Number(await before.text());
  try {
    if (!(latest > now)) await pages.put(lookOf(path), new Response(String(now)));
  } catch { /* no room: the page is shown as old as the clock says */ }
  return latest;
};

/* A kept page says so, and a call in it that no longer counts is none, whatever the script of the page does. */
const marked = async (kept, why, latest) => {
  const at = new Date(kept.headers.get("Date") || 0);
  const moment = Number.isNaN(+at) ? new Date(0) : at;
  const page = await kept.text();
  const given = (name) => (new RegExp(`data-${name}="([^"]+)"`).exec(page) || [])[1];
  const [zone, served, ends] = [given("zone"), Date.parse(given("served-at")), Date.parse(given("ends-at"))];
  let text = page.replace("<head>", `<head>\n<meta name="soakbell-kept" content="${moment.toISOString()}" data-why="${why}">`);
  const past = soakbell.whyNoCall(served, ends, zone, Date.now(), { latest });
  const words = past || soakbell.keptWords(served, zone);
  const said = `<p class="fault" role="alert" id="kept-call">${words}</p>`;
  const withCall = text.replace(/<div class="call"[^>]*>/, (call) => `${call}\n${said}`);
  text = withCall === text ? text.replace(/<(?:section|p)\b[^>]* data-of-call /, (part) => `${said}\n${part}`) : withCall;
  if (past) {
    text = text.replace(/<(section|p)\b[^>]* data-of-call .*?<\/\1>/gs, "");
    text = text.replace(/<p class="word">([^<]*)<\/p>(\s*)<p class="lead">/, '<p class="word">NO CALL</p>$2<p>The call then was: $1. ')
      .replace(/<p class="word">[^<]*<\/p>/, '<p class="word">NO CALL</p>')
      .replace(/<section aria-labelledby="window">.*?<\/section>/s, "");
  }
  return new Response(text, { status: 200, headers: kept.headers });
};
