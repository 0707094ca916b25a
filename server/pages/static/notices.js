// Notices on this phone, for the worker: shows what is pushed, and does what its buttons say.
// A press is not lost: what cannot be sent is kept here and waits, or the tree's page is opened and asks.
"use strict";
(() => {
  const PATIENCE_MS = 5000;  // a phone shows nothing meanwhile, and may open no page much later
  const MIME = "application/json";

  const show = (title, { body, tag, data, actions = [] }) => self.registration.showNotification(title, {
    body, tag, data, actions, renotify: false, lang: "en",
    icon: "/static/icon-192.png", badge: "/static/icon-192.png",
  });
  const send = (method, path, said = {}, headers = {}) => fetch(path, {
    method, headers: { "Content-Type": MIME, Accept: MIME, ...headers }, body: JSON.stringify(said),
    signal: AbortSignal.timeout(PATIENCE_MS),
  });
  const open = async ({ url }) => {
    const address = new URL(url ?? "/", self.location.origin);
    const windows = await self.clients.matchAll({ type: "window" });
    const there = windows.find((one) => new URL(one.url).pathname === address.pathname) ?? windows[0];
    try {
      if (!there) throw new Error("no window is open");
      const shown = await there.focus();
      if (new URL(shown.url).pathname !== address.pathname) await shown.navigate(address.href);
    } catch {
      await self.clients.openWindow(address.href);
    }
  };

  // The buttons stand on what the notice brings: the tree and its coat, or the notice to be put off.
  const actionsOf = (said) => [
    ...(said.coat ? [{ action: "dipped", title: "Dipped" }] : []),
    ...(said.coat || ["together", "later"].includes(said.cause) ? [{ action: "later", title: "Later" }] : []),
  ];
  const told = async (said) => {
    // What was told of this tree before is out of date, and so is its button.
    for (const old of said.tree ? await self.registration.getNotifications() : []) {
      if (old.data?.tree === said.tree && old.tag !== said.tag) old.close();
    }
    await show(said.title ?? "Slowcorner", { ...said, data: said, actions: actionsOf(said) });
  };

  // Shop time by the page that was kept last: it says its own time, how fast that goes, and when it came.
  const shopTime = async () => {
    const kept = await caches.match("/");
    const page = kept ? await kept.text() : "";
    const number = (pattern, other) => Number(pattern.exec(page)?.[1] ?? other);
    const cameAt = Number(kept?.headers.get("X-Kept-At") ?? Date.now());
    return Math.round(number(/data-as-of="(\d+)"/, cameAt) + (Date.now() - cameAt) * number(/data-clock-rate="([\d.]+)"/, 1));
  };
  const clock = () => new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });

  const dipped = async (said) => {
    const at = await shopTime(), time = clock();
    let answer;
    try {
      answer = await send("POST", `/api/trees/${said.tree}/dips`, { coat: said.coat }, { "Idempotency-Key": said.key });
      if (answer.status >= 500) throw new Error(`the service answered ${answer.status}`);
    } catch {
      return keepDip(said, at, time);
    }
    if (!answer.ok) return open(said); // it asks something, or this phone may not say it: the page tells which
    const dip = await answer.json();
    await show(`Coat ${said.coat} is written down`, {
      tag: said.tag, body: `${said.title.replace(/: fit to dip$/, "")}, dipped at ${time}.`,
      data: { ...said, dip: dip.id }, actions: [{ action: "undo", title: "Undo" }],
    });
  };
  const keepDip = async (said, at, time) => {
    const fields = [["at", String(at)], ["key", said.key], ["coat", String(said.coat)]];
    await self.keptDips.keep(`/trees/${said.tree}/dips`, fields, `${said.title} · Dipped: coat ${said.coat} · said at ${time}`);
    await show("Not connected: the dip waits here", {
      tag: said.tag, data: said, body: `${said.title}. Dipped at ${time}. It is sent when Slowcorner is open and connected.`,
    });
  };
  const undo = async (said) => {
    const answer = await send("DELETE", `/api/trees/${said.tree}/dips/${said.dip}`).catch(() => null);
    if (!answer?.ok) return open(said);
    await show(`Coat ${said.coat} is taken back`, { tag: said.tag, data: said, body: said.title, actions: [] });
  };
  const later = async (said) => {
    const answer = await send("POST", `/api/notices/${said.notice}/put-off`).catch(() => null);
    if (answer?.ok) return;
    if (answer && answer.status < 500) return open(said);
    await show(said.title, {
      ...said, data: said, actions: actionsOf(said), body: `Not connected: it was not put off. ${said.body ?? ""}`,
    });
  };

  // The push service gives this phone another address: the shop is told, and what waits goes there.
  const renew = async ({ oldSubscription, newSubscription }) => {
    const key = async () => (await (await fetch("/api/push/key")).json()).key;
    const fresh = newSubscription ?? await self.registration.pushManager.subscribe({
      userVisibleOnly: true, applicationServerKey: oldSubscription?.options?.applicationServerKey ?? await key(),
    });
    const { endpoint, keys } = fresh.toJSON();
    const old = oldSubscription?.endpoint;
    await send("POST", "/api/push/subscriptions", { endpoint, keys, ...(old ? { replaces: old } : {}) });
  };

  self.addEventListener("push", (event) => {
    let said = {};
    try { said = event.data.json(); } catch { /* a push without words, or not ours: it says to look */ }
    event.waitUntil(told(said.title ? said : { title: "Slowcorner", body: "Something is to be seen on the rack.", tag: "look", url: "/" }));
  });
  self.addEventListener("notificationclick", (event) => {
    const { notification, action } = event;
    notification.close();
    event.waitUntil(({ dipped, later, undo }[action] ?? open)(notification.data ?? {}));
  });
  self.addEventListener("pushsubscriptionchange", (event) => event.waitUntil(renew(event)));
})();
