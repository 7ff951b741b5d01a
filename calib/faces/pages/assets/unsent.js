// Readings that are not sent: their number on every page, what became of each, and how they are sent when there is network.
"use strict";
(() => {
  const AGAIN = 30000;  // ms
  const told = name => document.querySelector(`meta[name=${name}]`).content;
  const person = told("person"), list = document.querySelector("[data-unsent]");
  const place = entry => `/jobs/${encodeURIComponent(entry.job)}/outlets/${encodeURIComponent(entry.outlet)}`;
  const count = (number, what) => `${number} reading${number === 1 ? "" : "s"} ${what}`;
  const {isAnswered, isAskedBack} = queue;

  function time() {  // by the clock of this device, with its zone
    const now = new Date(), zone = -now.getTimezoneOffset(), ahead = Math.abs(zone);
    return `${dayOf(now)}T${two(now.getHours())}:${two(now.getMinutes())}:${two(now.getSeconds())}` +
      `${zone < 0 ? "-" : "+"}${two(Math.floor(ahead / 60))}:${two(ahead % 60)}`;
  }

  function element(name, words = "", settings = {}) {
    return Object.assign(document.createElement(name), {textContent: words}, settings);
  }

  // --- what is told of them ---

  let shown = null;

  async function tell() {
    const entries = await queue.entries(), own = entries.filter(entry => !person || entry.person === person);
    own.sort((a, b) => a.fields.observed_at < b.fields.observed_at ? -1 : 1);
    const unsent = own.filter(entry => !isAnswered(entry)), others = entries.filter(entry => person && entry.person !== person && !isAnswered(entry)).length;
    const answered = own.length - unsent.length, bar = document.querySelector(".unsent");
    const lines = [
      unsent.length && count(unsent.length, "not sent"), answered && count(answered, "answered"),
      others && count(others, "of another person not sent"),
    ].filter(Boolean);
    bar.hidden = !lines.length;
    const first = person || !unsent.length ? "" : ": sign in, and what is yours is sent";
    bar.replaceChildren(element("a", lines.join(", ") + first, {href: "/unsent"}));
    for (const note of document.querySelectorAll(".not-sent")) note.remove();
    for (const link of document.querySelectorAll(".card a.whole")) {
      const here = unsent.filter(entry => place(entry) === new URL(link.href).pathname);
      if (here.length) link.closest(".card").append(element("p", count(here.length, "not sent"), {className: "finding not-sent"}));
    }
    const next = document.querySelector("a[data-next]");
    const left = [...document.querySelectorAll(".card.is-left")].find(card => !card.querySelector(".not-sent"));
    if (next && left) Object.assign(next, {href: left.querySelector("a.whole").href, textContent: `Next: ${left.querySelector("a.whole").textContent}`});
    if (unsent.length && navigator.storage?.persist) navigator.storage.persist();
    const state = JSON.stringify(own);
    if (list && state !== shown) show(own);  // what is shown anew loses the place of whoever uses it
    shown = state;
    return unsent;
  }

  const STATES = {
    waiting: "Not sent", doubted: "Not sent: is that right?", meanwhile: "Not sent: another reading stands there meanwhile",
    refused: "Refused", wrong: "Not taken", accepted: "On record", "kept as refused": "Kept as a refused reading",
  };
  const CHOICES = {
    doubted: [["It is right: keep it", entry => ({...entry, sure: true})]],
    meanwhile: [["Keep mine too", entry => ({...entry, known: [...entry.known, ...entry.readings]})]],
    refused: [["Send it again", entry => entry], ["Keep it as a refusal", entry => ({...entry, keep: true})]],
    wrong: [["Send it again", entry => entry]],
  };

  function show(entries) {
    const on = document.querySelector("[data-on]"), last = entries.at(-1);
    on.hidden = !last;
    if (last) Object.assign(on.firstElementChild, {href: `/jobs/${encodeURIComponent(last.job)}`, textContent: `Go on with ${last.job}`});
    document.querySelector("[data-none]").hidden = entries.length > 0;
    document.querySelector("[data-clear]").hidden = !entries.some(isAnswered);
    document.querySelector("[data-save]").hidden = entries.every(isAnswered);
    document.querySelector("[data-send]").hidden = !entries.some(entry => entry.state === "waiting");
    list.replaceChildren(...entries.map(entry => {
      const card = element("li", "", {className: "card"}), name = element("h2", `${entry.outlet}, ${entry.job}`);
      const {fields} = entry, values = Object.keys(fields).filter(each => each.startsWith("pass_")).map(each => fields[each]);
      const typed = `${values.filter(Boolean).join("; ")} ${fields.unit || ""}, ${fields.instrument}, ${fields.observed_at}`;
      card.append(name, element("p", STATES[entry.state], {className: isAnswered(entry) ? "verdict" : "finding"}), element("p", typed));
      card.append(...entry.said.map(line => element("p", line)));
      const choices = element("div", "", {className: "choices"});
      for (const [words, chosen] of CHOICES[entry.state] || []) {
        const button = element("button", words, {type: "button"});
        button.addEventListener("click", async () => {
          await queue.keep({...chosen(entry), state: "waiting"});
          send();
        });
        choices.append(button);
      }
      if (isAskedBack(entry)) {
        const meter = fields.instrument ? `?instrument=${encodeURIComponent(fields.instrument)}` : "";
        choices.append(element("a", "Change it", {href: `${place(entry)}${meter}#${entry.client_key}`, className: "button quiet"}));
      }
      if (!isAnswered(entry)) {
        const button = element("button", "Take it off this phone", {type: "button", className: "quiet"});
        button.addEventListener("click", async () => {
          if (!confirm(`${entry.outlet}: ${typed}\nIt will be on no record.`)) return;
          await queue.drop(entry.client_key);
          tell();
        });
        choices.append(button);
      }
      choices.append(element("a", `To ${entry.outlet}`, {href: place(entry), className: "button quiet"}));
      card.append(choices);
      return card;
    }));
  }

  function say(words) {
    const line = document.querySelector("[data-told]");
    if (line) line.textContent = words;
  }

  // --- sent ---

  async function asked(address, sent, token) {
    const answer = await fetch(address, {
      method: sent ? "POST" : "GET", headers: {"Content-Type": "application/json", "Calib-Token": token || ""},
      body: sent && JSON.stringify(sent),
    });
    const words = await answer.json();
    if (!answer.ok) throw Object.assign(new Error(words.error), {status: answer.status});
    return words;
  }

  let isSending = false;
  async function send() {
    const waiting = (await tell()).filter(entry => entry.state === "waiting");
    if (isSending || !waiting.length) return;
    isSending = true;
    try {
      const sender = await asked("/unsent/sender");
      if (sender.person !== person) return say(`${sender.person || "Nobody"} is signed in by now`);
      // The next one is asked for anew: what one answer changes of the others counts.
      for (const {client_key} of waiting) {
        const entry = (await queue.entries()).find(each => each.client_key === client_key);
        if (entry) await sentOne(entry, sender.token);
      }
      say("");
    } catch (error) {
      say(error.status === 401 ? "Sign in, and they are sent" : error.status ? error.message : "Without network: they are sent later");
    } finally {
      isSending = false;
      await tell();
    }
  }

  async function sentOne(entry, token) {
    let answer;
    try {
      answer = await asked("/unsent/send", {...entry, sent_at: time()}, token);
    } catch (error) {
      if (error.status !== 422 && error.status !== 403) throw error;
      answer = {outcome: "wrong", said: [error.message]};
    }
    await queue.keep({...entry, state: answer.outcome, said: answer.said, readings: answer.readings || []});
    if (answer.outcome !== "accepted") return;
    for (const other of await queue.entries())  // whoever typed them knew of this one
      if (other.person === person && place(other) === place(entry) && !isAnswered(other))
        await queue.keep({...other, known: [...other.known, ...answer.readings]});
  }

  // --- on a page ---

  // A reading that was asked back is changed under its own key: nothing was written under that, and where its answer is lost after
  // all, what is sent again is found and not written twice. It stays in the queue until what it became is on record.
  async function askedBack(form) {
    const keys = [location.hash.slice(1), form.elements.client_key.value];
    return (await queue.entries()).find(entry => keys.includes(entry.client_key) && entry.person === person && isAskedBack(entry));
  }

  function fillIn(form, entry) {
    for (const [name, value] of Object.entries(entry.fields)) if (form.elements[name]) form.elements[name].value = value;
    for (const folded of form.querySelectorAll("details")) folded.open = true;
    const asked = element("div", "", {className: "wrong", role: "status"});
    asked.append(element("p", `${STATES[entry.state]}. Changed here it keeps its time, ${entry.fields.observed_at}.`));
    asked.append(...entry.said.map(line => element("p", line)));
    form.prepend(asked);
  }

  for (const form of document.querySelectorAll("form[data-entry]")) {
    let own = crypto.randomUUID ? crypto.randomUUID() : form.elements.client_key.value, before = null;
    askedBack(form).then(entry => {
      if (!entry) return;
      [own, before] = [entry.client_key, entry];
      if (location.hash) fillIn(form, entry);  // otherwise the server has filled it in with what was typed since
    });
    form.addEventListener("submit", () => {
      const known = [...JSON.parse(form.dataset.entry), ...(before ? before.known : [])];
      for (const [name, value] of Object.entries({
        client_key: own, observed_at: before ? before.fields.observed_at : time(), sent_at: time(), person, known: JSON.stringify(known),
      })) {
        const field = form.elements[name] || form.appendChild(element("input", "", {type: "hidden", name}));
        field.value = value;
      }
    });
  }

  // What needs the network says so before anything is typed into it.
  if (document.querySelector(".as-of"))
    for (const part of document.querySelectorAll("[data-online]")) part.replaceWith(element("span", part.dataset.online));

  const out = document.querySelector("form.out");
  if (out) out.addEventListener("submit", event => {
    if (out.dataset.sure) return;
    event.preventDefault();
    tell().then(unsent => {
      if (unsent.length && !confirm(`${count(unsent.length, "not sent")}: this phone keeps them until you sign in on it again. Sign out?`))
        return;
      out.dataset.sure = "yes";
      out.requestSubmit();
    });
  });

  if (list) {
    document.querySelector("[data-send]").addEventListener("click", send);
    document.querySelector("[data-clear]").addEventListener("click", async () => {
      for (const entry of await queue.entries()) if (entry.person === person && isAnswered(entry)) await queue.drop(entry.client_key);
      tell();
    });
    document.querySelector("[data-save]").addEventListener("click", async () => {
      const entries = (await queue.entries()).filter(entry => entry.person === person && !isAnswered(entry));
      const file = new Blob([JSON.stringify({form: 1, entries}, null, 1)], {type: "application/json"});
      const link = element("a", "", {href: URL.createObjectURL(file), download: `not-sent-${time().slice(0, 10)}.json`});
      link.click();
      URL.revokeObjectURL(link.href);
    });
  }

  if (navigator.serviceWorker) {
    navigator.serviceWorker.register("/worker.js").catch(() => {});
    const job = document.querySelector("[data-keep]"), links = [...document.querySelectorAll("[data-keep] a.whole")].map(link => link.href);
    const kept = {keep: [location.href, "/", "/unsent", ...links], more: job && job.dataset.keep};
    if (person && !document.querySelector(".as-of")) navigator.serviceWorker.ready.then(ready => ready.active.postMessage(kept));
  }
  if (person) {
    addEventListener("online", send);
    setInterval(send, AGAIN);
    send();
  } else tell();
})();
