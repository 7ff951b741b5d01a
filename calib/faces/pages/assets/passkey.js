// Passkeys: the browser asks the device. Buttons that need this script are shown by it.
"use strict";
const bytes = text => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), sign => sign.charCodeAt(0));
const text = buffer => btoa(String.fromCharCode(...new Uint8Array(buffer))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
const token = document.querySelector("meta[name=token]").content;

async function ask(address, document_) {
  const answer = await fetch(address, {
    method: "POST", headers: {"Content-Type": "application/json", "Calib-Token": token}, body: JSON.stringify(document_),
  });
  const told = await answer.json();
  if (!answer.ok) throw new Error(told.error);
  return told;
}

function asSent(made) {
  const response = {clientDataJSON: text(made.response.clientDataJSON)};
  for (const part of ["attestationObject", "authenticatorData", "signature", "userHandle"])
    if (made.response[part]) response[part] = text(made.response[part]);
  return {id: made.id, rawId: text(made.rawId), type: made.type, response, clientExtensionResults: {}};
}

async function make(address, name) {
  const options = await ask(`${address}/ask`, {});
  options.challenge = bytes(options.challenge);
  options.user.id = bytes(options.user.id);
  for (const key of options.excludeCredentials || []) key.id = bytes(key.id);
  const made = await navigator.credentials.create({publicKey: options});
  return ask(address, {credential: asSent(made), name});
}

async function show(address, to) {
  const options = await ask(`${address}/ask`, {});
  options.challenge = bytes(options.challenge);
  const shown = await navigator.credentials.get({publicKey: {...options, allowCredentials: []}});
  return ask(address, {credential: asSent(shown), to});
}

for (const button of document.querySelectorAll("button[data-passkey]")) {
  if (!window.PublicKeyCredential) continue;
  const part = button.closest(".passkey"), told = part.querySelector("[role=status]");
  part.hidden = false;
  button.addEventListener("click", async () => {
    button.disabled = true;
    told.textContent = "";
    try {
      const {address, to} = button.dataset;
      const named = part.querySelector("input");
      const answer = button.dataset.passkey === "make" ? await make(address, named ? named.value : "") : await show(address, to);
      location.assign(answer.goto);
    } catch (error) {
      told.textContent = error.name === "NotAllowedError" ? "Nothing was done: the device gave no answer." : error.message;
      button.disabled = false;
    }
  });
}
