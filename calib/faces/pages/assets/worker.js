// Stands between the pages and the network: keeps pages of whoever is signed in, and answers with them where there is no network.
// Before it the server puts VERSION, ASSETS and queue.js. A page of another version is passed on and never kept.
const PATIENCE = 8000, LONGER = 20000;  // ms
const AWAY = 503;  // the pages answer, and the records do not
const PAGES = `pages ${VERSION} `, ALL_ASSETS = `assets ${VERSION}`, NONE = "/without-network", STILL = "/still-signed-in";
// What can be read or filled in without network: a job, the form of an outlet, an instrument.
const KEPT = /^\/($|jobs\/[^/]+(\/outlets\/[^/]+)?$|instruments\/[^/]+$|unsent$)/, ONLY_NOW = ["reading", "refusal", "at", "began"];
const OUTLET = /^\/jobs\/([^/]+)\/outlets\/([^/]+)$/;

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
  else if (request.mode === "navigate" && request.method === "GET") event.respondWith(shown(event, address));
  else if (request.mode === "navigate") event.respondWith(changed(request, address));
});
addEventListener("message", event => event.waitUntil(keepEach(event.data.keep)));

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

async function shown(event, address) {
  const kept = await keptPage(address), before = signedOut;
  try {
    const answer = await reached(event.request, kept && PATIENCE);
    if (kept && answer.status === AWAY) return asOf(kept, "while the records do not answer");
    event.waitUntil(keep(address, answer.clone(), before));
    return answer;
  } catch {
    return kept ? asOf(kept) : none();
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
  if (signedOut === before) await (await caches.open(own)).put(named(address), new Response(page, {headers}));
}

async function keepEach(addresses) {
  const before = signedOut;
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

// A page for one meter is none for another.
function named(address) {
  const meter = address.searchParams.get("instrument");
  return address.pathname + (meter === null ? "" : `?instrument=${encodeURIComponent(meter)}`);
}

async function keptPage(address) {
  if (ONLY_NOW.some(name => address.searchParams.has(name))) return undefined;
  for (const name of await caches.keys()) {
    const page = name.startsWith(PAGES) && await (await caches.open(name)).match(named(address), {ignoreVary: true});
    if (page) return page;
  }
  return undefined;
}

const two = number => String(number).padStart(2, "0");
async function asOf(kept, why = "without network") {
  const at = new Date(kept.headers.get("Date")), today = new Date();
  const day = `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} `;
  const time = `${at.toDateString() === today.toDateString() ? "" : day}${two(at.getHours())}:${two(at.getMinutes())}`;
  const line = `<p class="as-of" role="status">As of ${time}, ${why}</p>`;
  return new Response((await kept.text()).replace(/<main[^>]*>/, found => found + line), {headers: kept.headers});
}

async function none(page = NONE) {
  return await caches.match(page, {cacheName: ALL_ASSETS}) || Response.error();
}

async function changed(request, address) {
  if (address.pathname === "/sign-out") return leaving(request);
  const copy = request.clone(), place = OUTLET.exec(address.pathname);
  let answer;
  try {
    answer = await reached(request, place && LONGER);
    if (answer.status !== AWAY || !place) return answer;
  } catch {}
  try {
    const fields = place && Object.fromEntries(await copy.formData());
    if (!place || !fields.known) return answer || none();  // no reading, or its page had no script
    await put(place, fields);
  } catch {
    return answer || none();
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
  if (!before) await queue.add(entry);
  else if (JSON.stringify(before.fields) !== JSON.stringify(fields)) await queue.add({...entry, client_key: crypto.randomUUID()});
}
