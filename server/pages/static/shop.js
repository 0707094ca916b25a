// Everything works without this file. With it: holding confirms, pages refresh themselves, and times count on.
import { listen } from "/static/changes.js";
import { keep, newKey, sendWaiting, tell } from "/static/waiting.js";

(() => {
  const main = () => document.getElementById("main");
  const link = document.getElementById("link");
  let holding = null;      // the button that is being held, with its timer
  let lostAt = null;       // when the service was first missed, by this phone's clock
  let loadedAt = performance.now();
  // A page that the worker kept says when it came, by this phone's clock; the shop's time is counted from then.
  const keptAt = Number(main().dataset.keptAt ?? 0);
  if (keptAt) loadedAt -= Math.max(Date.now() - keptAt, 0);

  // Times ------------------------------------------------------------------------------------------------
  const shopNow = () => {
    const { asOf, clockRate } = main().dataset;
    return Number(asOf) + (performance.now() - loadedAt) * Number(clockRate);
  };
  const toStep = (value, step) => Math.floor(value / step + 0.5) * step;
  // The same steps as `duration_words` on the server; a test holds them together.
  const rounded = (millis) => {
    const minutes = Math.max(millis, 0) / 60000, hours = minutes / 60, days = hours / 24;
    if (minutes < 2.5) return [0, "min"];
    if (minutes < 27.5) return [toStep(minutes, 5), "min"];
    if (minutes < 55) return [toStep(minutes, 10), "min"];
    if (hours < 3.75) return [toStep(hours, 0.5), "h"];
    if (hours < 47.5) return [toStep(hours, 1), "h"];
    return [toStep(days, days < 9.75 ? 0.5 : 1), "days"];
  };
  const durationWords = (millis) => {
    const [amount, unit] = rounded(millis);
    return amount ? `about ${amount} ${unit}` : "a minute or two";
  };
  const spanWords = (shortest, longest) => {
    const [low, lowUnit] = rounded(shortest), [high, highUnit] = rounded(longest);
    if (low === high && lowUnit === highUnit) return durationWords(longest);
    if (!low) return `up to ${high} ${highUnit}`;
    return lowUnit === highUnit ? `${low}-${high} ${highUnit}` : `${low} ${lowUnit} to ${high} ${highUnit}`;
  };
  const aroundWords = (soonest, middle, latest) => {
    const span = spanWords(soonest, latest);
    return span.startsWith("about") ? durationWords(middle) : `${durationWords(middle)}, ${span}`;
  };
  const countOn = () => {
    const now = shopNow();
    for (const span of document.querySelectorAll("[data-way]")) {
      const [soonest, middle, latest] = ["soonest", "middle", "latest"].map((name) => Number(span.dataset[name]));
      const words = span.dataset.way === "since" ? durationWords(now - soonest)
        : latest - now < 60000 ? "any moment now" : `in ${aroundWords(soonest - now, middle - now, latest - now)}`;
      if (span.textContent !== words) span.textContent = words;
    }
  };

  // The link to the service ------------------------------------------------------------------------------
  const connected = () => { lostAt = null; link.hidden = true; };
  const lost = () => {
    lostAt ??= new Date();
    const age = Math.max(Date.now() - keptAt, 0);
    const kept = "A dip said now waits on this phone and is sent later.";
    const time = lostAt.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    const words = "keptAt" in main().dataset ? `Not connected. What you see is as it was ${durationWords(age)} ago. ${kept}`
      : `Not connected since ${time}. What you see is from then. ${kept}`;
    if (link.textContent !== words) link.textContent = words;
    link.hidden = false;
  };

  // Refreshing -------------------------------------------------------------------------------------------
  const parsed = (html) => new DOMParser().parseFromString(html, "text/html");
  // Where the keyboard or a screen reader is, so that a fresh page leaves it there.
  const placeOf = (element) => {
    const link = element?.closest("a"), form = element?.matches("button") ? element.form : null;
    if (link) return `a[href="${CSS.escape(link.getAttribute("href"))}"]`;
    return form ? `form[action="${CSS.escape(form.getAttribute("action"))}"] button` : null;
  };
  const show = (fresh) => {
    const next = fresh.getElementById("main");
    if (!next) return false;
    loadedAt = performance.now();
    const time = fresh.getElementById("shop-time"), here = document.getElementById("shop-time");
    if (time && here) here.textContent = time.textContent;
    const old = main();
    if (old.innerHTML === next.innerHTML) {
      old.dataset.asOf = next.dataset.asOf;
      delete old.dataset.keptAt;
      return true;
    }
    const focused = placeOf(document.activeElement);
    old.replaceWith(document.adoptNode(next));
    if (focused) main().querySelector(focused)?.focus({ preventScroll: true });
    prepare();
    return true;
  };
  // What a person is in the middle of is left alone.
  const busy = () => holding !== null || main().querySelector("details[open]") !== null
    || main().querySelector(":is(input, select):focus") !== null;
  let stale = false;       // something changed that is not shown yet
  let looking = false, lookedAt = performance.now(), soon = 0;
  const refresh = async () => {
    if (looking || document.visibilityState !== "visible" || busy()) return;
    if (!("live" in main().dataset)) return comeBack();
    looking = true;
    stale = false;
    lookedAt = performance.now();
    await fetchAnew();
    looking = false;
    if (stale) refreshSoon();
  };
  // A kept page that does not refresh itself is loaded anew once there is a connection: it is not to pass for fresh.
  const comeBack = async () => {
    if (!("keptAt" in main().dataset)) return;
    const answer = await fetch(location.href, { signal: AbortSignal.timeout(8000), cache: "no-store" }).catch(() => null);
    if (answer?.ok && !busy()) location.reload();
  };
  const fetchAnew = async () => {
    try {
      const answer = await fetch(location.href, { signal: AbortSignal.timeout(8000), cache: "no-store" });
      if (answer.status >= 500) return lost();
      const html = await answer.text();
      connected();
      // A button may have been pressed while the answer was on its way: then it is shown later.
      if (answer.ok && "live" in main().dataset) if (busy()) stale = true; else show(parsed(html));
    } catch {
      lost();
    }
  };
  // At once, but for a page that was looked at just now: many changes in a row are one.
  const refreshSoon = () => {
    stale = true;
    clearTimeout(soon);
    soon = setTimeout(refresh, Math.max(lookedAt + (topic() === "air" ? 5000 : 700) - performance.now(), 0));
  };
  const topic = () => main().dataset.live || /^\/(trees\/\d+|air)$/.exec(location.pathname)?.[1] || "rack";
  const stream = "live" in main().dataset ? listen({
    topic,
    since: () => Number(main().dataset.asOf),
    changed: refreshSoon,
    broken: () => refresh(), // whether there is a connection is told by whether the page can be fetched
  }) : { told: () => false, tryAgain: () => {} };
  const SLOWLY_MS = 60000;
  const period = () => (Number(main().dataset.clockRate) > 10 ? 2000 : 5000);
  // What was put off because somebody was busy comes now; while changes are told, little else is to be fetched.
  const turn = async () => {
    const slowly = stream.told() && !lostAt && !stale;
    if (!slowly || performance.now() - lookedAt >= SLOWLY_MS) {
      await refresh();
      stream.tryAgain();
    }
    await sendKept();
    setTimeout(turn, period());
  };
  // What waited is on its way as soon as there is a connection, whatever page is open.
  const sendKept = async () => {
    try {
      if (await sendWaiting()) { connected(); await refresh(); }
    } catch {
      lost();
    }
  };

  // Holding ----------------------------------------------------------------------------------------------
  const letGo = () => {
    if (!holding?.button.classList.contains("holding")) return; // nothing held, or already on its way
    clearTimeout(holding.timer);
    holding.button.classList.remove("holding");
    holding = null;
  };
  const hold = (button) => {
    if (holding || button.disabled) return;
    const timer = setTimeout(() => send(button), Number(button.dataset.hold));
    holding = { button, timer };
    button.classList.add("holding");
  };
  const send = async (button) => {
    button.classList.replace("holding", "done");
    button.disabled = true;
    const form = button.form, pairs = [...new FormData(form)], isDip = /\/trees\/\d+\/dips$/.test(form.action);
    const isRound = form.matches(".round");
    const said = shopNow();
    try {
      const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(pairs) });
      const html = await answer.text();
      connected();
      holding = null;
      if (answer.redirected) location.assign(answer.url);
      else if (show(parsed(html))) { scrollTo(0, 0); delete main().dataset.live; }
    } catch {
      holding = null;
      button.classList.remove("done");
      button.disabled = false;
      lost();
      if (isDip) await keepDip(form, button, pairs, said).catch(() => { link.textContent = NOT_KEPT; });
      else if (isRound) await keepRound(form, pairs, said).catch(() => { link.textContent = NOT_KEPT; });
      else link.textContent = "Not connected. It was not sent: hold again when it is back. Twice is no harm.";
    }
  };
  const NOT_KEPT = "Not connected, and this phone cannot keep the dip: write it down, and hold again when it is back.";
  // With the time when it was said, or the one that was chosen, in the shop's time.
  const keepDip = async (form, button, pairs, said) => {
    const given = Object.fromEntries(pairs);
    const at = given.at || Math.round(said - Number(given.ago_min ?? 0) * 60000);
    const fields = pairs.filter(([name]) => name !== "at" && name !== "ago_min" && name !== "key");
    const time = new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    const words = `${main().querySelector("h1").textContent} · ${button.querySelector(".text").textContent} · said at ${time}`;
    await keep(new URL(form.action).pathname, [...fields, ["at", String(at)], ["key", given.key || newKey()]], words);
    await tell();
    document.getElementById("waiting").scrollIntoView({ block: "nearest" });
  };
  // Each dip of a round waits by itself, as if it had been said on its tree's own page.
  const keepRound = async (form, pairs, said) => {
    const given = Object.fromEntries(pairs), ticked = [...form.querySelectorAll('[name="tree"]:checked')];
    if (given.clock || !ticked.length) throw new Error("no time that this phone can tell, or nothing ticked");
    const at = given.at || Math.round(said - Number(given.ago_min ?? 0) * 60000);
    const time = new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    for (const one of ticked) {
      const [, tree, , coat] = one.value.split("-");
      const fields = [["at", String(at)], ["key", one.value], ["coat", coat]];
      for (const name of ["pot", "confirm"]) if (given[name]) fields.push([name, given[name]]);
      const label = one.closest("label").querySelector("b").textContent;
      await keep(`/trees/${tree}/dips`, fields, `${label} · Dipped: coat ${coat} · said at ${time}`);
      one.checked = false;
    }
    await tell();
    document.getElementById("waiting").scrollIntoView({ block: "nearest" });
  };
  const prepare = () => {
    for (const button of document.querySelectorAll("button[data-hold]")) {
      if (button.dataset.ready) continue;
      button.dataset.ready = "yes";
      const hint = button.form.querySelector(".hint");
      if (hint) hint.hidden = false;
      button.addEventListener("pointerdown", (event) => { if (event.button === 0) hold(button); });
      for (const end of ["pointerup", "pointercancel", "pointerleave", "blur"]) button.addEventListener(end, letGo);
      button.addEventListener("contextmenu", (event) => event.preventDefault());
      button.addEventListener("keydown", (event) => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        if (!event.repeat) hold(button);
      });
      button.addEventListener("keyup", (event) => { if (event.key === "Enter" || event.key === " ") { event.preventDefault(); letGo(); } });
      button.addEventListener("click", (event) => {
        event.preventDefault();
        // A screen reader or a switch presses without pointer or key and cannot hold: undo follows it all the same.
        if (event.isTrusted && event.detail === 0 && event.pointerType === "" && !holding) send(button);
      });
    }
  };

  prepare();
  if (keptAt) {
    // A kept page may be opened for more than one dip: each has a key of its own.
    for (const field of document.querySelectorAll('form.dip input[name="key"]')) field.value = newKey();
    lost();
  }
  tell().catch(() => {}).then(sendKept);
  setInterval(countOn, 1000);
  setTimeout(turn, period());
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") refresh().then(sendKept); });
  // Only where the browser trusts the connection (HTTPS, or this machine itself); all else works without it.
  navigator.serviceWorker?.register("/sw.js").catch(() => {});
})();
