// Dips that were said without a connection: kept on this phone, sent in their order, each with its own time.
// Each carries the key under which it was said first: sent twice it is still one dip.

import "/static/kept-dips.js";

const { all, change, drop } = self.keptDips;
export const { keep } = self.keptDips;

export const newKey = () =>
  Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join("");

const send = async (dip) => {
  const answer = await fetch(dip.action, { method: "POST", body: new URLSearchParams(dip.fields) });
  const tree = dip.action.replace(/\/dips$/, "");
  if (answer.redirected && new URL(answer.url).pathname === tree) { await drop(dip); return "sent"; }
  if (answer.status === 409 || answer.status === 422) {
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const asks = [...page.querySelectorAll("#main h1, #main p")].map((one) => one.textContent.trim()).slice(0, 2);
    await change({ ...dip, asks: page.querySelector("button[data-hold]") ? asks[0] : asks.join(". "),
      question: page.querySelector("button[data-hold]") !== null });
    return "asked";
  }
  return "stopped"; // signed out, or the service is in trouble: nothing is lost by waiting
};
const sendAll = async () => {
  const stuck = new Set(); // what comes after an open question of the same tree waits for it
  let sent = 0;
  for (const dip of await all()) {
    if (dip.asks) stuck.add(dip.action);
    if (stuck.has(dip.action)) continue;
    const how = await send(dip);
    if (how === "stopped") break;
    if (how === "asked") stuck.add(dip.action);
    else sent += 1;
  }
  return sent;
};
// How many went out. Throws where there is no connection. Two windows of one phone take turns.
export const sendWaiting = async () => {
  if (!(await all()).some((dip) => !dip.asks)) return 0;
  const sent = await (navigator.locks ? navigator.locks.request("waiting", sendAll) : sendAll());
  await tell();
  return sent;
};

const button = (words, work) => {
  const one = document.createElement("button");
  Object.assign(one, { type: "button", className: "button", textContent: words });
  one.addEventListener("click", async () => { one.disabled = true; await work(); await tell(); });
  return one;
};
export const tell = async () => {
  const place = document.getElementById("waiting"), dips = await all();
  place.hidden = dips.length === 0;
  const title = document.createElement("h2");
  title.textContent = `Waiting to be sent (${dips.length})`;
  const rows = document.createElement("ul");
  for (const dip of dips) {
    const row = document.createElement("li"), words = document.createElement("p");
    words.textContent = dip.asks ? `${dip.words}. ${dip.asks}` : dip.words;
    row.append(words);
    if (dip.asks && dip.question) row.append(button("Yes, it went on", () =>
      change({ ...dip, asks: "", fields: [...dip.fields.filter(([name]) => name !== "confirm"), ["confirm", "yes"]] })
        .then(sendWaiting).catch(() => {})));
    row.append(button(dip.asks ? "Forget it" : "Take it back", () => drop(dip)));
    rows.append(row);
  }
  place.replaceChildren(...(dips.length ? [title, rows] : []));
};
