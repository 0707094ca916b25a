// Dips that could not be sent yet, as this phone keeps them: for the pages (a module that imports this for its
// effect) and for the worker (importScripts). Each carries the key under which it was said first.
"use strict";
(() => {
  const opened = () => new Promise((done, failed) => {
    const request = indexedDB.open("slowcorner", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("dips", { keyPath: "order", autoIncrement: true })
      .createIndex("key", "key", { unique: true });
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });
  const within = async (mode, work) => {
    const base = await opened();
    try {
      return await new Promise((done, failed) => {
        const change = base.transaction("dips", mode);
        const request = work(change.objectStore("dips"));
        change.oncomplete = () => done(request.result);
        change.onabort = change.onerror = () => failed(change.error);
      });
    } finally {
      base.close();
    }
  };
  const all = () => within("readonly", (dips) => dips.getAll());
  const change = (dip) => within("readwrite", (dips) => dips.put(dip));
  const drop = (dip) => within("readwrite", (dips) => dips.delete(dip.order));
  // `fields` are the form's pairs. Said again under the same key it is kept once.
  const keep = async (action, fields, words) => {
    const key = fields.find(([name]) => name === "key")?.[1] ?? "";
    if ((await all()).some((dip) => dip.key === key)) return;
    await within("readwrite", (dips) => dips.add({ action, fields, words, key, asks: "" }));
  };
  self.keptDips = { all, change, drop, keep };
})();
