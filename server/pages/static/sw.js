// Keeps the last known pages for when there is no connection. What is fresh always comes first.
"use strict";
importScripts("/static/kept-dips.js", "/static/notices.js");
const SHELL = "shell-2", PAGES = "pages-1";
const FILES = ["/static/shop.css", "/static/rack.css", "/static/next.css", "/static/shop.js", "/static/waiting.js", "/static/kept-dips.js", "/static/changes.js",
  "/static/icon.svg", "/static/icon-192.png"];
const PAGE = /^\/$|^\/(next|air|shop)$|^\/trees\/\d+$/;
const TAG = /^\/[th]\/./i;
const KEPT_AT = "X-Kept-At";      // on a kept page: when it came, by this phone's clock [ms]
const PATIENCE_MS = 4000;         // how long a kept page waits for a fresh one
const OLD_MS = 10 * 60 * 1000;    // a page older than this that goes with the rack is fetched again when the rack is

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(SHELL).then((cache) => cache.addAll(FILES)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== SHELL && name !== PAGES) await caches.delete(name);
    await self.clients.claim();
  })());
  keep("/").catch(() => {});   // the page that brought the worker came before it; nothing waits for this
});

const isPage = (answer) => answer.ok && !answer.redirected && (answer.headers.get("Content-Type") ?? "").startsWith("text/html");

const keepAnswer = async (path, answer) => {
  const html = await answer.text();
  const headers = { "Content-Type": "text/html; charset=utf-8", [KEPT_AT]: String(Date.now()) };
  const policy = answer.headers.get("Content-Security-Policy");
  if (policy) headers["Content-Security-Policy"] = policy;
  await (await caches.open(PAGES)).put(path, new Response(html, { headers }));
  if (path === "/") await keepTrees(html);
};
const keep = async (path) => {
  const answer = await fetch(path, { cache: "no-store", headers: { Accept: "text/html" } });
  if (isPage(answer)) await keepAnswer(path, answer);
};
// A dip can be said on any tree of the rack without a connection, so each has its page here, and what to dip next
// is asked where there is none as well. One after the other.
const keepTrees = async (rack) => {
  const pages = await caches.open(PAGES);
  const trees = new Set(Array.from(rack.matchAll(/href="(\/trees\/\d+)"/g), (found) => found[1]));
  for (const { url } of await pages.keys()) {
    const path = new URL(url).pathname;
    if (path.startsWith("/trees/") && !trees.has(path)) await pages.delete(path);
  }
  for (const path of ["/next", ...trees]) {
    const kept = await pages.match(path);
    if (!kept || Date.now() - Number(kept.headers.get(KEPT_AT)) > OLD_MS) await keep(path);
  }
};
// The page itself says how old it is.
const asKept = (kept, text) => {
  const html = text.replace("<main ", `<main data-kept-at="${kept.headers.get(KEPT_AT)}" `);
  return new Response(html, { headers: kept.headers });
};
// A page that is being written anew just now may not be read: then it is there a moment later.
const keptPage = async (path) => {
  for (let turn = 0; turn < 15; turn += 1) {
    try {
      const kept = await (await caches.open(PAGES)).match(path);
      if (kept) return asKept(kept, await kept.text());
    } catch (error) {
      console.warn(`The kept page ${path} could not be read: ${error}`);
    }
    await new Promise((done) => setTimeout(done, 200));
  }
  console.warn(`The page ${path} is not kept.`);
  return null;
};
const page = async (event, path, keeps = true) => {
  const fresh = fetch(event.request).then((answer) => {
    if (keeps && isPage(answer)) event.waitUntil(keepAnswer(path, answer.clone()).catch(() => {}));
    return answer;
  }).catch(() => Response.error());
  if (event.request.mode !== "navigate") return fresh; // a page that refreshes itself must see that it cannot
  let timer;
  const late = new Promise((done) => { timer = setTimeout(done, PATIENCE_MS); });
  const answer = await Promise.race([fresh, late]);
  clearTimeout(timer);
  if (answer && answer.type !== "error") return answer;
  return (await keptPage(path)) ?? fresh;
};
// A tag without a connection leads to the kept page of its tree; a hook’s to the kept rack.
const behindTag = (path) => {
  const tree = path.toLowerCase().match(/^\/t\/(\d+)$/);
  return tree ? `/trees/${tree[1]}` : "/";
};
const file = async (event) => {
  try {
    const answer = await fetch(event.request);
    const cache = await caches.open(SHELL);
    if (answer.ok) event.waitUntil(cache.put(event.request, answer.clone()));
    return answer;
  } catch (error) {
    const kept = await caches.match(event.request);
    if (kept) return kept;
    throw error;
  }
};
self.addEventListener("fetch", (event) => {
  const { pathname, origin, search } = new URL(event.request.url);
  if (event.request.method !== "GET" || origin !== self.location.origin) return;
  if (pathname.startsWith("/static/")) event.respondWith(file(event));
  else if (PAGE.test(pathname) && !search) event.respondWith(page(event, pathname));
  else if (TAG.test(pathname)) event.respondWith(page(event, behindTag(pathname), false));
});
