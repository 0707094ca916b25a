// Everything works without this file. With it: holding confirms, pages refresh themselves, and times count on.
"use strict";
(() => {
  const main = () => document.getElementById("main");
  const link = document.getElementById("link");
  let holding = null;      // the button that is being held, with its timer
  let lostAt = null;       // when the service was first missed, by this phone's clock
  let loadedAt = performance.now();

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
  const lost = (more = "") => {
    lostAt ??= new Date();
    const time = lostAt.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    const words = `Not connected since ${time}. What you see is from then. ${more || "A dip said now is not kept."}`;
    if (link.textContent !== words) link.textContent = words;
    link.hidden = false;
  };

  // Refreshing -------------------------------------------------------------------------------------------
  const parsed = (html) => new DOMParser().parseFromString(html, "text/html");
  const show = (fresh) => {
    const next = fresh.getElementById("main");
    if (!next) return false;
    loadedAt = performance.now();
    const time = fresh.getElementById("shop-time"), here = document.getElementById("shop-time");
    if (time && here) here.textContent = time.textContent;
    const old = main();
    if (old.innerHTML === next.innerHTML) {
      old.dataset.asOf = next.dataset.asOf;
      return true;
    }
    const focused = document.activeElement?.closest("a")?.getAttribute("href");
    old.replaceWith(document.adoptNode(next));
    if (focused) main().querySelector(`a[href="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
    prepare();
    return true;
  };
  // What a person is in the middle of is left alone.
  const busy = () => holding !== null || main().querySelector("details[open]") !== null
    || main().querySelector(":is(input, select):focus") !== null;
  const refresh = async () => {
    if (document.visibilityState !== "visible" || !("live" in main().dataset) || busy()) return;
    try {
      const answer = await fetch(location.href, { signal: AbortSignal.timeout(8000), cache: "no-store" });
      if (answer.status >= 500) return lost();
      const html = await answer.text();
      connected();
      // A button may have been pressed while the answer was on its way.
      if (answer.ok && !busy() && "live" in main().dataset) show(parsed(html));
    } catch {
      lost();
    }
  };
  const period = () => (Number(main().dataset.clockRate) > 10 ? 2000 : 5000);
  const turn = async () => {
    await refresh();
    setTimeout(turn, period());
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
    const form = button.form;
    try {
      const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)) });
      const html = await answer.text();
      connected();
      holding = null;
      if (answer.redirected) location.assign(answer.url);
      else if (show(parsed(html))) { scrollTo(0, 0); delete main().dataset.live; }
    } catch {
      holding = null;
      button.classList.remove("done");
      button.disabled = false;
      lost("The dip was not sent: hold again when it is back. Twice is no harm.");
    }
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
  setInterval(countOn, 1000);
  setTimeout(turn, period());
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") refresh(); });
})();
