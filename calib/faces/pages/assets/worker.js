// Stands between the pages and the network: keeps pages of whoever is signed in, and answers with them where there is no network.
// Before it the server puts VERSION, ASSETS and queue.js. A page of another version is passed on and never kept.
const PATIENCE = 8000, LONGER = 20000;  // ms
const PAGES = `pages ${VERSION} `, ALL_ASSETS = `assets ${VERSION}`, NONE = "/without-network", STILL = "/still-signed-in";
// What can be read or filled in without network: a job, the form of an outlet and its limits, an instrument.
const KEPT = /^\/($|jobs\/[^/]+(\/limits|\/outlets\/[^/]+)?$|instruments\/[^/]+$|unsent$)/, ONLY_NOW = ["reading", "refusal", "at", "began"];
const LIMITS = /^\/jobs\/[^/]+\/limits$/, OUTLET = /^\/jobs\/([^/]+)\/outlets\/([^/]+)$/;

addEventListener("install", event => event.waitUntil((async () => {
  const cache = await caches.open(ALL_ASSETS);
  await cache.addAll(ASSETS);
  for (const page of [NONE, STILL]) await cache.put(page, await fetch(page, {credentials: "omit"}));
  await skipWaiting();
})()));
addEventListener("activate", event => event.waitUntil((async () => {
  await forget(name => !name.startsWith(PAGES) && name !== ALL_ASSETS);
  await clients.claim();
})()));
addEventListener("fetch", event => {
  const {request} = event, address = new URL(request.url);
  if (address.origin !== location.origin) return;
  if (address.pathname.startsWith("/assets/")) event.respondWith(asset(request));
  else if (LIMITS.test(address.pathname)) event.respondWith(shown(event, address, kept => kept || Response.error()));
  else if (request.mode === "navigate" && request.method === "GET") event.respondWith(shown(event, address));
  else if (request.mode === "navigate") event.respondWith(changed(request, address));
});
addEventListener("message", event => event.waitUntil(keepWith(event.data)));

async function forget(which) {
  for (const name of await caches.keys()) if (which(name)) await caches.delete(name);
}

async function asset(request) {
  return await caches.match(request) || fetch(request);
}

function reached(request, patience) {
  const answered = fetch(request).then(answer => {
    if (answer.status >= 502 && !answer.headers.has("Calib-Version")) throw new Error("no server behind the proxy");
    return answer;
  });
  const late = new Promise((_, reject) => setTimeout(reject, patience, new Error("late")));
  return patience ? Promise.race([answered, late]) : answered;
}

async function shown(event, address, without = kept => kept ? asOf(kept) : none()) {
  const kept = await keptPage(address), before = signedOut;
  try {
    const answer = await reached(event.request, kept && PATIENCE);
    event.waitUntil(keep(address, answer.clone(), before));
    return answer;
  } catch {
    return without(kept);
  }
}

let signedOut = 0;  // times: what was asked for before is not kept after
async function keep(address, answer, before) {
  const person = answer.headers.get("Calib-Person");
  if (person === null) return;  // a redirection, or no page
  if (answer.headers.get("Calib-Version") !== VERSION) {
    await forget(name => name.startsWith(PAGES));
    await registration.update();
    return;
  }
  const own = PAGES + person;
  if (!person) signedOut++;
  await forget(name => name.startsWith(PAGES) && name !== own);
  if (!person || answer.status !== 200 || !KEPT.test(address.pathname)) return;
  if (ONLY_NOW.some(name => address.searchParams.has(name))) return;
  const page = await answer.text();
  if (page.includes('class="said"')) return;  // what is said once
  const headers = new Headers(answer.headers);
  if (signedOut !== before) return;
  const meter = OUTLET.test(address.pathname) && /<input type="hidden" name="instrument" value="([^"&]+)"/.exec(page);
  const names = new Set([named(address), meter ? ofMeter(address.pathname, meter[1]) : named(address)]);
  for (const name of names) await (await caches.open(own)).put(name, new Response(page, {headers}));
}

async function keepWith({keep: addresses, more}) {
  const before = signedOut;
  await keepEach(addresses, before);
  try {
    if (more) await keepEach((await (await fetch(more, {redirect: "error"})).json()).addresses, before);
  } catch {  // another time
  }
}

async function keepEach(addresses, before) {
  for (const each of addresses) {
    const address = new URL(each, location.origin), kept = await keptPage(address);
    if (kept && Date.now() - Date.parse(kept.headers.get("Date")) < 600000) continue;
    try {
      await keep(address, await fetch(address, {headers: {"Calib-Keep": "yes"}, redirect: "error"}), before);
    } catch {
      return;
    }
  }
}

// A page for one meter is none for another; one that was asked for without a meter is that of the meter that it chose, too.
function named(address) {
  const meter = address.searchParams.get("instrument");
  return meter === null ? address.pathname : ofMeter(address.pathname, meter);
}

function ofMeter(path, meter) {
  return `${path}?instrument=${encodeURIComponent(meter)}`;
}

async function keptPage(address) {
  if (ONLY_NOW.some(name => address.searchParams.has(name))) return undefined;
  for (const name of await caches.keys()) {
    const page = name.startsWith(PAGES) && await (await caches.open(name)).match(named(address), {ignoreVary: true});
    if (page) return page;
  }
  return undefined;
}

async function asOf(kept) {
  const line = `<p class="as-of" role="status">As of ${timeOf(kept)}, without network</p>`;
  return new Response((await kept.text()).replace(/<main[^>]*>/, found => found + line), {headers: kept.headers});
}

async function none(page = NONE) {
  return await caches.match(page, {cacheName: ALL_ASSETS}) || Response.error();
}

async function changed(request, address) {
  if (address.pathname === "/sign-out") return leaving(request);
  const place = OUTLET.exec(address.pathname);
  const isOwn = request.referrer.startsWith(`${location.origin}/`);  // what another site sends is no reading of a person
  const fields = place && isOwn ? Object.fromEntries(await request.clone().formData()) : {};
  if (!fields.known) return reached(request).catch(() => none());  // no reading, or its page had no script
  try {
    const sent = {method: "POST", body: new URLSearchParams(fields), headers: {"Calib-Worker": "yes"}, redirect: "manual"};
    const answer = await reached(new Request(address, sent), LONGER), to = answer.headers.get("Location");
    if (to) await queue.drop(fields.client_key);  // where it was changed: what it was before
    if (to) return Response.redirect(to, 303);
    // Another session, or none: it is not lost to the page that says so. Without the version it is no answer of the pages.
    if (answer.headers.has("Calib-Version") && ![401, 403].includes(answer.status)) return answer;
  } catch {  // the server was not reached
  }
  try {
    await put(place, fields);
  } catch {
    return none();
  }
  return Response.redirect("/unsent", 303);
}

async function leaving(request) {
  signedOut++;
  try {
    const answer = await reached(request, LONGER);
    await forget(name => name.startsWith(PAGES));
    return answer;
  } catch {
    return none(STILL);  // the session lives on the server: nobody is told that it ended
  }
}

async function put([, job, outlet], {token, client_key, person, known, sure, keep: wanted, sent_at, ...fields}) {
  const entry = {
    form: 1, client_key, person, job: decodeURIComponent(job), outlet: decodeURIComponent(outlet), fields,
    known: JSON.parse(known), sure: sure === "yes", keep: wanted === "yes", state: "waiting", said: [],
  };
  const before = (await queue.entries()).find(each => each.client_key === client_key);
  if (before && queue.isAskedBack(before)) await queue.keep(entry);  // what was changed of it
  else if (!before) await queue.add(entry);
  else if (JSON.stringify(before.fields) !== JSON.stringify(fields)) await queue.add({...entry, client_key: crypto.randomUUID()});
}
