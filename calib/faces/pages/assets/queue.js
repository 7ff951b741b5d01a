// Readings that were typed without network, kept in this browser until the person has seen what became of each.
"use strict";
const queue = (() => {
  let opened;
  const open = () => opened ??= new Promise((resolve, reject) => {
    const asked = indexedDB.open("calib", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("entries", {keyPath: "client_key"});
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  async function within(mode, work) {
    const transaction = (await open()).transaction("entries", mode, {durability: "strict"});
    const asked = work(transaction.objectStore("entries"));
    return new Promise((resolve, reject) => {
      transaction.oncomplete = () => resolve(asked.result);
      transaction.onabort = () => reject(transaction.error);
    });
  }
  return {
    entries: () => within("readonly", store => store.getAll()),
    keep: entry => within("readwrite", store => store.put(entry)),
    add: entry => within("readwrite", store => store.add(entry)),
    drop: key => within("readwrite", store => store.delete(key)),
    isAnswered: entry => entry.state === "accepted" || entry.state === "kept as refused",
    isAskedBack: entry => entry.state !== "waiting" && !queue.isAnswered(entry),  // nothing of it was written
  };
})();

const two = number => String(number).padStart(2, "0");
const dayOf = at => `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())}`;

function timeOf(answer) {  // when the server gave it, with the day where that was another one
  const at = new Date(answer.headers.get("Date"));
  return `${dayOf(at) === dayOf(new Date()) ? "" : `${dayOf(at)} `}${two(at.getHours())}:${two(at.getMinutes())}`;
}
