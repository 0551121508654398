"use strict";
/* Pages for where there is no signal: from the network if it answers soon, else as they were last. */

importScripts(`/static/page.js${self.location.search}`);

const PAGES = "soakbell pages", FILES = `soakbell files ${self.location.search}`;
const STATIC = ["/static/page.css", "/static/page.js", "/static/icon.svg", "/static/soakbell.webmanifest"];
const KEPT = /^\/(?:why|bench|bait|season|log(?:\/[a-z-]+)?|strings(?:\/[^/]+)?)?$/;
const PATIENCE_MS = 3000;

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

self.addEventListener("message", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("sync", (event) => {
  if (event.tag !== "soakbell") return;
  event.waitUntil(soakbell.sync().then((why) => { if (why === "no signal") throw new Error(why); }));
});

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST") {
    if (url.pathname === "/out" || url.pathname === "/in") event.waitUntil(caches.delete(PAGES));
    return;
  }
  if (request.method !== "GET") return;
  if (url.pathname.startsWith("/static/")) return event.respondWith(fileOf(request));
  const asksPage = request.mode === "navigate" || (request.headers.get("Accept") || "").startsWith("text/html");
  if (asksPage && KEPT.test(url.pathname)) event.respondWith(pageOf(event, request, url.pathname));
});

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

/* Kept under its path alone: what a query says was of one moment. */
const pageOf = async (event, request, path) => {
  const asked = (async () => {
    const answer = await fetch(request);
    if (answer.redirected || answer.type === "opaqueredirect" || answer.status === 401) await caches.delete(PAGES);
    else if (answer.ok && !new URL(request.url).search) await (await caches.open(PAGES)).put(path, answer.clone());
    return answer;
  })();
  event.waitUntil(asked.catch(() => {}));
  const late = new Promise((done) => { setTimeout(done, PATIENCE_MS, null); });
  let fault = null;
  const answer = await Promise.race([asked.catch((why) => { fault = why; return null; }), late]);
  if (answer && answer.status < 500) return answer;
  const kept = await (await caches.open(PAGES)).match(path);
  if (kept) return marked(kept);
  if (answer) return answer;
  if (fault) return noSignal();
  return asked.catch(noSignal);
};

const noSignal = () => new Response(
  '<!doctype html><html lang="en-US"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
  + "<title>No signal</title></head><body><main><h1>No signal</h1><p>This page was not kept on this phone.</p>"
  + '<p><a href="/log">To the log</a></p></main></body></html>',
  { status: 503, headers: { "Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": "default-src 'none'" } },
);

/* A kept page says so, and a call in it that no longer counts is none, whatever the script of the page does. */
const marked = async (kept) => {
  const at = new Date(kept.headers.get("Date") || 0);
  const moment = Number.isNaN(+at) ? new Date(0) : at;
  let text = (await kept.text()).replace("<head>", `<head>\n<meta name="soakbell-kept" content="${moment.toISOString()}">`);
  const ends = Date.parse((/data-ends-at="([^"]+)"/.exec(text) || [])[1]);
  const counts = Date.now() <= ends && Date.now() >= +moment - 120_000;
  if (!counts) text = text.replace(/<p class="word">[^<]*<\/p>/, '<p class="word">NO CALL</p>').replace('<p class="lead">', '<p>The call that ran out was: ');
  return new Response(text, { status: 200, headers: kept.headers });
};
