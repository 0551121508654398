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
    put: (entry) => inQueue("readwrite", (store) => store.put(entry)),
    remove: (turn) => inQueue("readwrite", (store) => store.delete(turn)),
  };

  const A_SENDING = 40;

  /* Sends what waits, in order. Gives "" or, where it can't, why: "no signal", "signed out", or what was answered. */
  const send = async () => {
    for (;;) {
      const waiting = (await queue.all()).filter((entry) => !entry.refused).slice(0, A_SENDING);
      if (!waiting.length) return "";
      let told;
      try {
        const json = { Accept: "application/json" };
        const ready = await fetch("/sync/ready", { headers: json, cache: "no-store", redirect: "error" });
        if (ready.status === 401) return "signed out";
        if (!ready.ok) return `answered ${ready.status}`;
        const token = (await ready.json()).form_token;
        const answer = await fetch("/sync", {
          method: "POST",
          headers: { ...json, "Content-Type": "application/json", "X-Form-Token": token },
          body: JSON.stringify({
            entries: waiting.map(({ key, kind, happened_at, cells }) => ({ key, kind, happened_at, cells })),
          }),
        });
        if (answer.status === 401) return "signed out";
        if (!answer.ok) return `answered ${answer.status}`;
        told = (await answer.json()).told;
      } catch {
        return "no signal";
      }
      for (const [at, entry] of waiting.entries()) {
        const came = told[at];
        if (!came || came.key !== entry.key) return "answered something else";
        if (came.state === "refused") await queue.put({ ...entry, refused: came.faults });
        else await queue.remove(entry.turn);
      }
    }
  };

  /* One sending at a time, whichever page or worker begins it. */
  let sending = null;
  const sync = () => {
    const once = () => navigator.locks
      ? navigator.locks.request("soakbell sync", send)
      : send();
    sending = sending || once().finally(() => { sending = null; });
    return sending;
  };

  return { queue, sync };
})();

if (self.document) {
  const html = document.documentElement;
  const zone = html.dataset.zone;
  const stamp = new URL(document.currentScript.src).search;
  const byId = (id) => document.getElementById(id);

  const hour = (at) => new Intl.DateTimeFormat("en-US", {
    timeZone: zone, weekday: "short", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit", hourCycle: "h23",
  }).format(at);

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

  /* ---- How old the page is ---- */

  const keptAt = document.querySelector('meta[name="soakbell-kept"]')?.content;
  const isKept = Boolean(keptAt);

  const tellAge = () => {
    if (isKept) say(byId("signal"), `No signal. This page is as of ${hour(new Date(keptAt))}.`);
    const call = byId("call");
    if (!call) return;
    const now = Date.now();
    const [served, ends] = [Date.parse(call.dataset.servedAt), Date.parse(call.dataset.endsAt)];
    if (!(now <= ends) || now < served - 120_000) {
      const word = call.querySelector(".word");
      if (word && !call.dataset.ranOut) {
        call.dataset.ranOut = "yes";
        const lead = call.querySelector(".lead");
        if (lead) {
          lead.className = "";
          lead.textContent = `The call that ran out was: ${word.textContent}. ${lead.textContent}`;
        }
        word.textContent = "NO CALL";
        const words = now < served ? "This phone's clock is behind, so no call counts here."
          : `This call ran out at ${hour(ends)} and counts for nothing now.`;
        call.prepend(element("p", words, { class: "fault", role: "alert" }));
      }
      const window = byId("window");
      if (window) window.closest("section").hidden = true;
    } else if (!isKept && now - served > 180_000) {
      say(byId("signal"), `This page is as of ${hour(served)}. Load it anew for what holds now.`);
    }
  };

  /* ---- What waits ---- */

  const shown = element("section", "", { id: "refused", "aria-labelledby": "refused-head" });
  let trouble = "";

  const show = async () => {
    const all = await soakbell.queue.all();
    const waiting = all.filter((entry) => !entry.refused), refused = all.filter((entry) => entry.refused);
    const count = waiting.length;
    const words = count === 1 ? "1 entry waiting" : `${count} entries waiting`;
    const why = { "signed out": " You are signed out: sign in again. Nothing is lost.", "no signal": " for a signal." }[trouble];
    say(byId("waiting"), count ? `${words}${why ?? (trouble ? `. The service ${trouble}; it is tried again.` : ".")}` : "");
    shown.replaceChildren();
    if (!refused.length) return shown.remove();
    shown.append(element("h2", "Not taken", { id: "refused-head" }));
    const list = element("ul", "");
    for (const entry of refused) {
      const item = element("li", "");
      const of = entry.cells.string ? `, ${entry.cells.string}` : "";
      item.append(element("p", `${entry.title}${of}, ${entry.when}.`));
      for (const fault of entry.refused) {
        item.append(element("p", `${fault.label ? `${fault.label}: ` : ""}found ${fault.found}. Write ${fault.write}.`, { class: "fault" }));
      }
      const told = Object.entries(entry.cells).filter(([name, cell]) => cell && name !== "string");
      if (told.length) item.append(element("p", `What was told: ${told.map(([name, cell]) => `${name} ${cell}`).join("; ")}`));
      const out = element("button", "Take out", { type: "button", class: "small", "aria-label": `Take out: ${entry.title}${of}, ${entry.when}` });
      out.addEventListener("click", async () => { await soakbell.queue.remove(entry.turn); await show(); });
      item.append(out);
      list.append(item);
    }
    shown.append(list);
    byId("main").before(shown);
  };

  const sync = async () => {
    trouble = await soakbell.sync();
    await show();
  };

  /* ---- Forms ---- */

  const cellsOf = (form) => {
    const cells = {};
    for (const [name, cell] of new FormData(form)) {
      if (name !== "form_token" && name !== "key" && typeof cell === "string" && cell) cells[name] = cell;
    }
    return cells;
  };

  const keep = async (form, happenedAt) => {
    const { happened_at: typed, ...cells } = cellsOf(form);
    await soakbell.queue.add({
      key: form.elements.key.value,
      kind: form.dataset.kind,
      title: document.querySelector("h1").textContent,
      when: hour(new Date()),
      happened_at: typed || happenedAt,
      cells,
    });
    HTMLFormElement.prototype.reset.call(form); // a pull has a field of that name
    form.elements.key.value = newKey();
    navigator.storage?.persist?.();
    navigator.serviceWorker?.ready.then((one) => one.sync?.register("soakbell")).catch(() => {});
    scrollTo(0, 0);
  };

  /* Sends a form as the browser would, with the moment of the tap. False where it couldn't be. */
  const sent = async (form, happenedAt) => {
    if (isKept || !navigator.onLine) return false;
    const body = new URLSearchParams(new FormData(form));
    if (!body.get("happened_at")) body.set("happened_at", happenedAt);
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
    const happenedAt = new Date().toISOString();
    try {
      if (!(await sent(form, happenedAt))) {
        await keep(form, happenedAt);
        await show();
        byId("waiting").scrollIntoView({ block: "nearest" });
        await sync();
      }
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
  const keepPages = async () => {
    const last = await caches.match("/log/pull");
    if (isKept || (last && Math.abs(Date.now() - Date.parse(last.headers.get("Date"))) < A_WHILE_MS)) return;
    const linked = (page) => [...page.querySelectorAll("nav a")].map((a) => a.getAttribute("href"));
    const log = new DOMParser().parseFromString(await (await fetch("/log", { headers: { Accept: "text/html" } })).text(), "text/html");
    for (const path of new Set([...linked(document), ...linked(log), "/why"])) {
      if (path.startsWith("/")) await fetch(path, { headers: { Accept: "text/html" } }).catch(() => {});
    }
  };

  begin();
  tellAge();
  setInterval(tellAge, 20_000);
  show().then(sync);
  addEventListener("online", sync);
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
