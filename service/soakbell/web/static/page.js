"use strict";
/* What the phone keeps while it has no signal, and what a page says of its own age. The service worker runs the first
   part too, to send when the signal comes back while no page is open. */

const soakbell = (() => {
  const opened = () => new Promise((done, failed) => {
    const asked = indexedDB.open("soakbell", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("waiting", { keyPath: "turn", autoIncrement: true });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });

  /* One transaction; kept on the disk, not only promised, before it counts as done. */
  const inQueue = async (mode, work) => {
    const base = await opened();
    try {
      return await new Promise((done, failed) => {
        const act = base.transaction("waiting", mode, { durability: "strict" });
        const asked = work(act.objectStore("waiting"));
        act.oncomplete = () => done(asked && asked.result);
        act.onerror = act.onabort = () => failed(act.error);
      });
    } finally {
      base.close();
    }
  };

  const queue = {
    add: (entry) => inQueue("readwrite", (store) => store.add(entry)),
    all: () => inQueue("readonly", (store) => store.getAll()),
    /* Nothing where it was taken out meanwhile. */
    change: (turn, changes) => inQueue("readwrite", (store) => {
      const asked = store.get(turn);
      asked.onsuccess = () => { if (asked.result) store.put({ ...asked.result, ...changes }); };
    }),
    remove: (turn) => inQueue("readwrite", (store) => store.delete(turn)),
  };

  /* How far this phone's clock is behind the service's, ms, as last measured; null: not yet. */
  const clock = { behindMs: null };

  const ASKS_JSON = { Accept: "application/json" };

  /* What sending needs, or why it can't be: a word. */
  const ready = async () => {
    const began = Date.now();
    const answer = await fetch("/sync/ready", { headers: ASKS_JSON, cache: "no-store", redirect: "error" });
    if (answer.status === 401) return { why: "signed out" };
    if (!answer.ok) return { why: `answered ${answer.status}` };
    const { form_token: token, now } = await answer.json();
    const took = Date.now() - began;
    if (!(took >= 0 && took < 20_000)) return { why: "answered too slowly to go by its clock" };
    clock.behindMs = Date.parse(now) - began - took / 2;
    return { token };
  };

  const CLOCK_SLACK_MS = 120_000, MOST_NOTE = 2000;

  /* The moment of a tap, reckoned when it is first sent, so that each sending tells the same. The clock may have been
     set between the tap and now: of both measures the later moment counts, for an earlier one would be a longer soak.
     None lies past the service's now, unless the phone's clock itself says so: then the service's may be behind. */
  const dated = (entry) => {
    if (entry.happened_at) return entry;
    const tapped = Date.parse(entry.tapped_at), { behindMs } = clock;
    const at = Math.max(tapped, Math.min(tapped + Math.max(0, entry.behindMs, behindMs), Date.now() + behindMs));
    const movedMs = entry.behindMs === null ? 0 : Math.abs(behindMs - entry.behindMs);
    const cells = { ...entry.cells };
    if (movedMs > CLOCK_SLACK_MS) {
      const words = `The phone's clock was set ${Math.round(movedMs / 60_000)} min otherwise before this was sent: its time may be wrong by that.`;
      cells.note = [cells.note, words].filter(Boolean).join(" ").slice(0, MOST_NOTE);
    }
    return { ...entry, happened_at: new Date(at).toISOString(), cells };
  };

  const datedOnce = async (waiting) => {
    const all = waiting.map(dated);
    for (const [at, entry] of all.entries()) {
      if (entry !== waiting[at]) await queue.change(entry.turn, { happened_at: entry.happened_at, cells: entry.cells });
    }
    return all;
  };

  const toSend = ({ key, kind, happened_at, tapped_at, cells }) => (
    { key, kind, happened_at, tapped: Boolean(tapped_at), cells }
  );

  /* Sends what waits, in order, and with ``again`` what was refused. Gives "" or, where it can't, why: "no signal",
     "signed out", or what was answered. */
  const send = async (again) => {
    const judged = new Set();
    let most = 40, token = null;
    for (;;) {
      let told, waiting;
      try {
        if (!token) {
          const found = await ready();
          if (found.why) return found.why;
          token = found.token;
        }
        waiting = (await queue.all()).filter((entry) => !judged.has(entry.turn) && (again || !entry.refused)).slice(0, most);
        if (!waiting.length) return "";
        waiting = await datedOnce(waiting);
        const answer = await fetch("/sync", {
          method: "POST",
          headers: { ...ASKS_JSON, "Content-Type": "application/json", "X-Form-Token": token },
          body: JSON.stringify({ entries: waiting.map(toSend) }),
        });
        if (answer.status === 401) return "signed out";
        if (answer.status === 413 && waiting.length > 1) {
          most = Math.ceil(waiting.length / 2);
          continue;
        }
        if (!answer.ok) return `answered ${answer.status}`;
        told = (await answer.json()).told;
      } catch {
        return "no signal";
      }
      for (const [at, entry] of waiting.entries()) {
        const came = told[at];
        if (!came || came.key !== entry.key) return "answered something else";
        judged.add(entry.turn);
        if (came.state === "refused") await queue.change(entry.turn, { refused: came.faults, later: null });
        else if (came.state === "later") await queue.change(entry.turn, { refused: null, later: came.faults });
        else await queue.remove(entry.turn);
      }
    }
  };

  /* One sending at a time, whichever page or worker begins it. */
  let sending = null, onceMore = null;
  /* Asked while it sends, it sends once more: a signal may have come after that had met none. */
  const sync = (again = false) => {
    if (sending) {
      onceMore = onceMore || sending.catch(() => {}).then(() => { onceMore = null; return sync(again); });
      return onceMore;
    }
    const once = navigator.locks ? navigator.locks.request("soakbell sync", () => send(again)) : send(again);
    sending = once.finally(() => { sending = null; });
    return sending;
  };

  /* ---- Whether a call that was served at a moment still counts ---- */

  const A_CALL_KEEPS_MS = 30 * 60_000;

  const shown = (at, zone, parts) => new Intl.DateTimeFormat("en-US", { timeZone: zone, ...parts }).format(at);
  const HOUR = { weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  /* In the order of the letters: Thu 26 Nov 04:30. */
  const hour = (at, zone) => {
    const parts = new Intl.DateTimeFormat("en-US", { timeZone: zone, ...HOUR }).formatToParts(at);
    const of = (type) => parts.find((part) => part.type === type).value;
    return `${of("weekday")} ${of("day")} ${of("month")} ${of("hour")}:${of("minute")}`;
  };
  const day = (at, zone) => shown(at, zone, { dateStyle: "short" });

  /* "" while it counts. ``since`` is the moment of this phone from which it ages, ``latest`` the last one that it was
     seen at: a clock that was set back makes no call younger. */
  const whyNoCall = (served, ends, zone, now, { since = served, latest = served } = {}) => {
    if (!Number.isFinite(served) || !Number.isFinite(ends)) return "It is not known how old this is, so no call counts here.";
    if (now < Math.max(served, latest) - CLOCK_SLACK_MS) return "This phone's clock is behind, so no call counts here.";
    if (now > ends) return `This call ran out at ${hour(ends, zone)} and counts for nothing now.`;
    if (now - since > A_CALL_KEEPS_MS || day(now, zone) !== day(served, zone)) {
      return `This page is as of ${hour(served, zone)}, too old for its call to count. Load it anew for what holds now.`;
    }
    return "";
  };

  const keptWords = (served, zone) => `Kept page as of ${hour(served, zone)}. Look for a CHANGED CALL.`;

  return { queue, sync, clock, CLOCK_SLACK_MS, hour, whyNoCall, keptWords };
})();

if (self.document?.getElementById("waiting")) {
  const html = document.documentElement;
  const zone = html.dataset.zone;
  const stamp = new URL(document.currentScript.src).search;
  const byId = (id) => document.getElementById(id);

  const hour = (at) => soakbell.hour(at, zone);

  const say = (region, text) => {
    if (!region || region.textContent === text) return;
    region.textContent = text;
    region.hidden = !text;
  };

  const element = (name, text, attributes = {}) => {
    const made = document.createElement(name);
    made.textContent = text;
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    return made;
  };

  const newKey = () => {
    if (crypto.randomUUID) return crypto.randomUUID();
    const hex = [...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
  };

  if (html.dataset.stay) {
    const headers = { "X-Form-Token": html.dataset.stay };
    fetch("/stay", { method: "POST", headers, redirect: "error" }).catch(() => {}); // another page asks again
  }

  /* ---- How old the page is ---- */

  const keptMark = document.querySelector('meta[name="soakbell-kept"]');
  const isKept = Boolean(keptMark);
  const ANSWER = { late: "No answer yet.", none: "No signal, or no answer." };

  /* The call, or on another page the first part that rests on it: each tells when it was served and ends. */
  const dated = () => byId("call") ?? document.querySelector("[data-of-call]");

  /* No call: its word, its window and what rests on it are taken back. */
  const takeBack = (words) => {
    const call = byId("call"), told = element("p", words, { class: "fault", role: "alert" });
    byId("kept-call")?.remove();
    if (!call) dated()?.before(told);
    for (const part of document.querySelectorAll("[data-of-call]")) part.remove();
    if (!call) return;
    const word = call.querySelector(".word"), lead = call.querySelector(".lead");
    if (lead) {
      lead.className = "";
      lead.textContent = `The call then was: ${word.textContent}. ${lead.textContent}`;
    }
    if (word) word.textContent = "NO CALL";
    byId("window")?.closest("section").remove();
    call.prepend(told);
  };

  const began = Date.now(); // of a page just served: its age needs no clock but the phone's
  let takenBack = false, latest = began;
  const tellAge = () => {
    if (isKept) say(byId("signal"), `${ANSWER[keptMark.dataset.why]} This page is as of ${hour(new Date(keptMark.content))}.`);
    const part = dated();
    if (!part || takenBack) return;
    const now = Date.now();
    const [served, ends] = [Date.parse(part.dataset.servedAt), Date.parse(part.dataset.endsAt)];
    const why = soakbell.whyNoCall(served, ends, zone, now, { since: isKept ? served : began, latest });
    latest = Math.max(latest, now);
    if (why) {
      takenBack = true;
      takeBack(why);
    } else if (!isKept && now - began > 180_000) {
      say(byId("signal"), `This page is as of ${hour(served)}. Load it anew for what holds now.`);
    }
  };

  /* The service answered after all: what is shown gives way to that. A form stays, it can be filled in as it is. */
  const hearOfAnswer = () => {
    const worker = navigator.serviceWorker;
    if (keptMark?.dataset.why !== "late" || !worker?.controller || document.querySelector("form[data-offline]")) return;
    worker.addEventListener("message", ({ data }) => {
      if (data.answered !== location.pathname) return;
      if (!takenBack) takeBack("A newer page has come. Load this one anew.");
      takenBack = true;
      location.reload();
    });
    worker.controller.postMessage({ late: location.pathname });
  };

  /* ---- How far the phone's clock is off ---- */

  const CLOCK = "soakbell clock behind ms";
  try {
    soakbell.clock.behindMs = JSON.parse(localStorage.getItem(CLOCK));
  } catch { /* not measured yet, then */ }

  const tellClock = () => {
    const { behindMs } = soakbell.clock;
    if (behindMs === null) return;
    try { localStorage.setItem(CLOCK, JSON.stringify(behindMs)); } catch { /* measured anew at the next load */ }
    byId("clock")?.remove();
    const form = document.querySelector("form[data-offline]");
    if (!form || Math.abs(behindMs) < soakbell.CLOCK_SLACK_MS) return;
    const minutes = `${Math.round(Math.abs(behindMs) / 60_000)} min`;
    form.before(element("p", behindMs > 0
      ? `This phone's clock is ${minutes} behind the service's. The moment of your tap is put right by that.`
      : `This phone's clock is ${minutes} ahead of the service's. One of them is wrong: tell when it happened.`,
    { class: "fault", id: "clock", role: "status" }));
  };

  /* ---- What waits ---- */

  const shown = element("section", "", { id: "refused", "aria-labelledby": "refused-head" });
  let trouble = "";

  const show = async () => {
    const all = await soakbell.queue.all();
    const untaken = all.filter((entry) => entry.refused || entry.later);
    const count = all.filter((entry) => !entry.refused).length;
    const words = count === 1 ? "1 entry waiting" : `${count} entries waiting`;
    const why = { "signed out": " You are signed out: sign in again. Nothing is lost.", "no signal": " for a signal." }[trouble];
    say(byId("waiting"), count ? `${words}${why ?? (trouble ? `. The service ${trouble}; it is tried again.` : ".")}` : "");
    shown.replaceChildren();
    if (!untaken.length) return shown.remove();
    shown.append(element("h2", "Not taken", { id: "refused-head" }));
    const list = element("ul", "");
    for (const entry of untaken) list.append(untakenItem(entry));
    shown.append(list);
    byId("main").before(shown);
  };

  const untakenItem = (entry) => {
    const item = element("li", "");
    const head = `${entry.title}${entry.cells.string ? `, ${entry.cells.string}` : ""}, ${entry.when}`;
    item.append(element("p", `${head}.`));
    for (const fault of entry.refused ?? entry.later) {
      item.append(element("p", `${fault.label ? `${fault.label}: ` : ""}${fault.words}`, { class: "fault" }));
    }
    if (entry.later) item.append(element("p", "It waits, and is sent again until that moment has come."));
    const told = entry.told ?? Object.entries(entry.cells);
    if (told.length) item.append(element("p", `What was told: ${told.map(([label, cell]) => `${label}: ${cell}`).join("; ")}`));
    const button = (text, work) => {
      const made = element("button", text, { type: "button", class: "small", "aria-label": `${text}: ${head}` });
      made.addEventListener("click", work);
      return made;
    };
    item.append(
      button("Send again", async () => { await soakbell.queue.change(entry.turn, { refused: null, later: null }); await sync(); }),
      button("Take out", async () => { await soakbell.queue.remove(entry.turn); await show(); }),
    );
    return item;
  };

  const sync = async (again = false) => {
    trouble = await soakbell.sync(again);
    tellClock();
    await show().catch(tellCannotKeep);
  };

  /* ---- Forms ---- */

  /* Said in the harbor, while there is still another way to tell the log. */
  const tellCannotKeep = () => {
    const form = document.querySelector("form[data-offline]");
    if (!form || byId("cannot-keep")) return;
    const words = "This phone can't keep what is told without a signal: it has no room, or the browser doesn't let it.";
    form.before(element("p", words, { class: "fault", id: "cannot-keep", role: "alert" }));
  };

  const cellsOf = (form) => {
    const cells = {};
    for (const [name, cell] of new FormData(form)) {
      if (name !== "form_token" && name !== "key" && typeof cell === "string" && cell) cells[name] = cell;
    }
    return cells;
  };

  /* What was filled in, by the words that stand beside it. */
  const toldIn = (form, cells) => Object.entries(cells).map(([name, cell]) => {
    const control = form.querySelector(`[name="${CSS.escape(name)}"]`);
    const label = control?.type === "radio" ? control.closest("fieldset")?.querySelector("legend") : control?.labels?.[0];
    return [label?.textContent ?? name, cell];
  });

  /* Throws where the phone has no room or no right to keep it. */
  const keep = async (form, tappedAt) => {
    const { happened_at: typed, ...cells } = cellsOf(form);
    await soakbell.queue.add({
      key: form.elements.key.value,
      kind: form.dataset.kind,
      title: document.querySelector("h1").textContent,
      when: typed ? typed.replace("T", " ") : hour(new Date(tappedAt)),
      ...(typed ? { happened_at: typed } : { tapped_at: tappedAt, behindMs: soakbell.clock.behindMs }),
      cells,
      told: toldIn(form, cells),
    });
    byId("not-kept")?.remove();
    HTMLFormElement.prototype.reset.call(form); // a pull has a field of that name
    form.elements.key.value = newKey();
    navigator.storage?.persist?.();
    navigator.serviceWorker?.ready.then((one) => one.sync?.register("soakbell")).catch(() => {});
    scrollTo(0, 0);
  };

  const tellNotKept = (form) => {
    byId("not-kept")?.remove();
    const words = "NOT told, and this phone could not keep it. Write it down, or try again where there is a signal.";
    form.before(element("p", words, { class: "fault", id: "not-kept", role: "alert" }));
    byId("not-kept").scrollIntoView({ block: "nearest" });
  };

  /* Sends a form as the browser would: it happened now by the service's clock, unless it says when. False where it
     couldn't be. */
  const sent = async (form) => {
    if (isKept || !navigator.onLine) return false;
    const body = new URLSearchParams(new FormData(form));
    let answer;
    try {
      answer = await fetch(form.getAttribute("action"), { method: "POST", body, signal: AbortSignal.timeout(10_000) });
      if (answer.redirected && answer.ok) {
        location.assign(answer.url);
        return true;
      }
      if (answer.status !== 422) return false;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      byId("main").replaceWith(document.adoptNode(page.getElementById("main")));
    } catch {
      return false;
    }
    begin();
    scrollTo(0, 0);
    document.querySelector("main .fault")?.setAttribute("tabindex", "-1");
    document.querySelector("main .fault")?.focus();
    return true;
  };

  const onSubmit = async (event) => {
    const form = event.target;
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "yes";
    const tappedAt = new Date().toISOString();
    try {
      if (await sent(form)) return;
      try {
        await keep(form, tappedAt);
      } catch {
        return tellNotKept(form);
      }
      await show();
      byId("waiting").scrollIntoView({ block: "nearest" });
      await sync();
    } finally {
      delete form.dataset.busy;
    }
  };

  /* ---- Where the phone is ---- */

  /* Great-circle distance, nautical miles (haversine; a sphere of 3440.065 nmi). */
  const apartNmi = (a, b) => {
    const rad = Math.PI / 180;
    const [north, east] = [(b.lat - a.lat) * rad, (b.lon - a.lon) * rad];
    const h = Math.sin(north / 2) ** 2 + Math.cos(a.lat * rad) * Math.cos(b.lat * rad) * Math.sin(east / 2) ** 2;
    return 2 * 3440.065 * Math.asin(Math.min(1, Math.sqrt(h)));
  };

  const POINTS_OF_LINE = 20;
  const toStringNmi = (here, { startLat, startLon, endLat, endLon }) => {
    const [a, b] = [{ lat: +startLat, lon: +startLon }, { lat: +endLat, lon: +endLon }];
    const points = Array.from({ length: POINTS_OF_LINE + 1 }, (_, turn) => turn / POINTS_OF_LINE);
    return Math.min(...points.map((share) => apartNmi(here, {
      lat: a.lat + share * (b.lat - a.lat), lon: a.lon + share * (b.lon - a.lon),
    })));
  };

  const proposeString = (form, here, said) => {
    const strings = [...form.querySelectorAll('input[name="string"][data-start-lat]')];
    if (!strings.length) return said;
    const far = strings.map((one) => ({ one, nmi: toStringNmi(here, one.dataset) })).sort((a, b) => a.nmi - b.nmi);
    const nearest = far[0];
    if (!form.querySelector('input[name="string"]:checked')) nearest.one.checked = true;
    return `${said} Nearest string: ${nearest.one.value}, ${nearest.nmi.toFixed(2)} nmi.`;
  };

  const placeButton = (form, text, use) => {
    const button = element("button", text, { type: "button", class: "small" });
    const said = element("p", "", { role: "status", class: "hint" });
    button.addEventListener("click", () => {
      said.textContent = "Asking the phone where it is…";
      navigator.geolocation.getCurrentPosition(({ coords }) => {
        const here = { lat: coords.latitude, lon: coords.longitude };
        use(here);
        said.textContent = proposeString(form, here, `Good to ${Math.round(coords.accuracy)} m.`);
      }, () => { said.textContent = "The phone doesn't tell where it is."; },
      { enableHighAccuracy: true, timeout: 30_000, maximumAge: 5_000 });
    });
    return [button, said];
  };

  const addPlaces = (form) => {
    if (!navigator.geolocation || !self.isSecureContext) return;
    const degrees = (value) => value.toFixed(6);
    if ("marks" in form.dataset) {
      for (const end of ["start", "end"]) {
        const lat = form.elements[`${end}_lat_deg`], lon = form.elements[`${end}_lon_deg`];
        lon.after(...placeButton(form, `The ${end} mark is here`, (here) => {
          [lat.value, lon.value] = [degrees(here.lat), degrees(here.lon)];
        }));
      }
    } else if (form.querySelector("input[data-start-lat]")) {
      byId("f-string").after(...placeButton(form, "Nearest string, by where I am", (here) => {
        const note = form.elements.note;
        const at = `at ${degrees(here.lat)},${degrees(here.lon)}`;
        note.value = `${note.value.replace(/ ?\bat -?\d+\.\d{6},-?\d+\.\d{6}/, "")} ${at}`.trim();
      }));
    }
  };

  const begin = () => {
    for (const form of document.querySelectorAll("form[data-offline]")) {
      if (isKept) form.elements.key.value = newKey();
      form.addEventListener("submit", onSubmit);
      addPlaces(form);
    }
  };

  /* ---- Pages kept for sea ---- */

  const A_WHILE_MS = 15 * 60_000;
  const isFresh = (page) => page && Math.abs(Date.now() - Date.parse(page.headers.get("Date"))) < A_WHILE_MS;
  const asPage = { headers: { Accept: "text/html" } };
  /* Each page by its own age: somebody may have gone on to another before all were kept. */
  const keepPages = async () => {
    if (isKept) return;
    const linked = (page) => [...page.querySelectorAll("nav a")].map((a) => a.getAttribute("href"));
    const kept = await caches.match("/log");
    const log = new DOMParser().parseFromString(await (isFresh(kept) ? kept : await fetch("/log", asPage)).text(), "text/html");
    for (const path of new Set([...linked(document), ...linked(log), "/why"])) {
      if (path.startsWith("/") && !isFresh(await caches.match(path))) await fetch(path, asPage).catch(() => {});
    }
  };

  begin();
  tellAge();
  hearOfAnswer();
  setInterval(tellAge, 20_000);
  show().catch(tellCannotKeep).then(() => sync(true));
  addEventListener("online", async () => {
    await sync();
    if (trouble === "no signal") setTimeout(sync, 5_000); // a phone says so before the network can be used
  });
  addEventListener("pageshow", (event) => { if (event.persisted) { tellAge(); sync(); } });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) { tellAge(); sync(); } });
  setInterval(async () => { if ((await soakbell.queue.all()).some((entry) => !entry.refused)) await sync(); }, 60_000);
  if (navigator.serviceWorker) {
    navigator.serviceWorker.register(`/sw.js${stamp}`).then(() => navigator.serviceWorker.ready).then((one) => {
      if (navigator.serviceWorker.controller) return keepPages();
      navigator.serviceWorker.addEventListener("controllerchange", () => keepPages().catch(() => {}), { once: true });
      one.active.postMessage("take this page too"); // it may have begun while this one was loading
      return null;
    }).catch(() => {});
  }
}
