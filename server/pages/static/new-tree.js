// The form for a new tree, and for the spots of one that hangs, by taps. Without this file it is the plain form
// of the same fields.
import { dial, picture, stepped } from "/static/corner.js";
import { canMeasure, included, watch } from "/static/phone-angle.js";

const form = document.getElementById("new-tree"), picked = form.querySelector(".picked");
const MM = Number(form.dataset.mm), UNIT = form.dataset.unit;
const BLANK = picked.firstElementChild.cloneNode(true);   // a line as the server made it
delete BLANK.dataset.fixed;
const NAMES = { joint: ["vent joint", "gate joint", "cup joint"], pocket: ["pocket"], cavity: ["hollow"] };
const WAIT_MS = 250;             // the dial rests so long before its drying time is asked for
const SILENT_MS = 3000;          // a phone that tells no angle by then has none

const field = (spot, name) => spot.querySelector(`[name="spot_${name}"]`);
const codes = () => [...picked.children].map((spot) => field(spot, "code").value);
const shown = (mm) => String(Number((mm / MM).toPrecision(3)));
const inMm = (text) => Number(text.replace(",", ".")) * MM;
const plain = (value) => String(Number(value.toFixed(4)));
const button = (words, work) => {
  const one = document.createElement("button");
  Object.assign(one, { type: "button", className: "button", textContent: words });
  one.addEventListener("click", work);
  return one;
};

// What a button puts into a field ------------------------------------------------------------------------
const press = (group, value) => {
  for (const one of group.querySelectorAll("button[data-value]")) one.setAttribute("aria-pressed", one.dataset.value === value);
};
const filled = (event) => {
  const one = event.target.closest("button[data-fills]");
  if (!one) return;
  const { fills, value } = one.dataset, editor = one.closest(".editor");
  const input = editor ? editor.querySelector(`[data-part="${fills}"]`) : form.elements[fills];
  input.value = value;
  input.dispatchEvent(new Event("input", { bubbles: true }));
};
form.addEventListener("click", filled);
form.addEventListener("input", (event) => {
  const name = event.target.dataset.part ?? event.target.name, around = event.target.closest(".editor") ?? form;
  const group = around.querySelector(`button[data-fills="${name}"]`)?.parentElement;
  if (group) press(group, event.target.value.trim());
});

// Spots --------------------------------------------------------------------------------------------------
const said = (spot, code, kind) => {
  field(spot, "code").value = code;
  spot.querySelector(".kind").textContent = kind;
  const seen = new Map();
  for (const one of picked.children) {
    const other = seen.get(field(one, "code").value);
    one.querySelector(".twice")?.remove();
    if (other) {
      const twice = document.createElement("p");
      twice.className = "warning twice";
      twice.textContent = `The same as ${field(other, "name").value || "another one"}: one of the two is enough.`;
      one.append(twice);
    } else seen.set(field(one, "code").value, one);
  }
};
const EDITORS = {
  joint(spot, editor) {
    const angle = Number(field(spot, "code").value.split(":")[1]), svg = editor.querySelector(".corner");
    const output = editor.querySelector("output"), hint = editor.querySelector(".hint");
    let timer = 0, asked = null;
    const ask = async () => {
      if (!form.elements.place) return tell(["What the angle does can be told once the tree hangs in a room whose air is known."]);
      asked?.abort();
      asked = new AbortController();
      const size = inMm(form.elements.size.value), { place, recipe } = form.elements;
      const query = new URLSearchParams({ place: place.value, recipe: recipe.value, size_mm: size > 0 ? size : 25, angle_deg: now });
      try {
        const answer = await fetch(`/api/joint-hint?${query}`, { signal: asked.signal, headers: { Accept: "application/json" } });
        const told = await answer.json();
        tell(answer.ok ? told.words : [`What the angle does could not be reckoned: ${told.detail}.`]);
      } catch (error) {
        if (error.name !== "AbortError") tell(["Not connected: what the angle does cannot be reckoned. The angle itself is kept in the form."]);
      }
    };
    const tell = (lines) => hint.replaceChildren(...lines.map((line, at) => {
      const one = document.createElement("p");
      one.textContent = line;
      if (at > 1) one.className = "small";
      return one;
    }));
    let now = angle;
    const turned = (value) => {
      now = value;
      output.textContent = `${value}°`;
      said(spot, `joint:${value}`, `${value}° joint`);
      spot.querySelector(".picture").replaceChildren(picture(value));
      tell(["Reckoning what this angle does to the drying…"]);
      clearTimeout(timer);
      timer = setTimeout(ask, WAIT_MS);
    };
    const turn = dial(svg, angle, turned);
    for (const one of editor.querySelectorAll("[data-by]")) one.addEventListener("click", () => turn(now + Number(one.dataset.by)));
    for (const one of editor.querySelectorAll("[data-angle]")) one.addEventListener("click", () => turn(Number(one.dataset.angle)));
    byPhone(editor.querySelector(".by-phone"), turn);
    // What it was reckoned for may be changed below while the corner is open.
    form.addEventListener("input", (event) => {
      if (["size", "place", "recipe"].includes(event.target.name) && editor.isConnected) turned(now);
    });
    turned(angle);
  },
  pocket(spot, editor) { sizes(spot, editor, ["mouth", "depth"]); },
  cavity(spot, editor) { sizes(spot, editor, ["mouth", "inside"]); },
};
// Pockets and hollows: the code follows the fields, whichever way they were filled.
const sizes = (spot, editor, parts) => {
  const [, first, second, blown] = field(spot, "code").value.match(/:([^x]+)x([^,]+)(,blown)?/) ?? [];
  const part = (name) => editor.querySelector(`[data-part="${name}"]`), air = part("blown");
  const isLength = (name) => name !== "inside";
  parts.forEach((name, at) => {
    const value = Number([first, second][at]);
    part(name).value = isLength(name) ? shown(value) : plain(value);
    press(editor.querySelector(`button[data-fills="${name}"]`).parentElement, part(name).value);
  });
  if (air) air.checked = blown !== undefined;
  // A figure that is left as it was shown stays what it was: in inches it is shown shorter than it is kept.
  const begun = parts.map((name) => part(name).value), kept = [Number(first), Number(second)];
  const changed = () => {
    const values = parts.map((name, at) => {
      const text = part(name).value;
      if (text === begun[at]) return kept[at];
      return isLength(name) ? inMm(text) : Number(text.replace(",", "."));
    });
    const [one, other] = values.map(plain), mouth = `${part("mouth").value} ${UNIT} wide`;
    if (air) said(spot, `cavity:${one}x${other}${air.checked ? ",blown" : ""}`,
      `hollow of ${other} m² inside, mouth ${mouth}${air.checked ? ", air blown through" : ""}`);
    else said(spot, `pocket:${one}x${other}`, `pocket ${mouth}, ${part("depth").value} ${UNIT} deep`);
  };
  editor.addEventListener("input", changed);
  changed();
};
// Holding the phone along the vent and then the cup.
const byPhone = (place, turn) => {
  const [start, words] = place.children;
  if (!canMeasure()) {
    start.hidden = true;
    words.textContent = isSecureContext ? "" : "Measuring with the phone wants a connection that it trusts: see Devices on the Shop page.";
    return;
  }
  let stop = null, lies = null, first = null, silent = 0;
  const rest = (text) => { clearTimeout(silent); stop?.(); stop = lies = first = null; start.textContent = "Measure with this phone"; words.textContent = text; };
  start.addEventListener("click", async () => {
    if (!stop) {
      try {
        stop = await watch((event) => { lies = { alpha: event.alpha, beta: event.beta }; });
      } catch (error) { return rest(error.message); }
      start.textContent = "It lies along the vent";
      words.textContent = "Lay the phone’s long side along the vent, its top away from the corner.";
      silent = setTimeout(() => { if (!lies) rest("This phone tells no angle: turn the corner by hand."); }, SILENT_MS);
    } else if (lies && !first) {
      first = lies;
      start.textContent = "It lies along the cup";
      words.textContent = "Now along the cup, its top away from the corner again.";
    } else if (lies) {
      const angle = included(first, lies), taken = stepped(angle);
      rest(`Measured ${Math.round(angle)}°, taken as ${taken}°.`);
      turn(taken);
    }
  });
};
const edit = (spot, opener) => {
  const open = spot.querySelector(".editor");
  for (const other of picked.querySelectorAll(".editor")) other.remove();
  for (const other of picked.querySelectorAll("[aria-expanded]")) other.setAttribute("aria-expanded", "false");
  if (open) return;
  const kind = field(spot, "code").value.split(":")[0], editor = document.getElementById(`edit-${kind}`).content.firstElementChild.cloneNode(true);
  editor.addEventListener("click", filled);
  spot.append(editor);
  opener.setAttribute("aria-expanded", "true");
  EDITORS[kind](spot, editor);
};
const prepare = (spot) => {
  const code = field(spot, "code");
  code.type = "hidden";
  spot.querySelector(".pair").classList.replace("pair", "named");
  if ("fixed" in spot.dataset) return;
  const tools = document.createElement("p");
  tools.className = "tools";
  if (code.value.split(":")[0] in EDITORS) {
    const change = button("Change", () => edit(spot, change));
    change.setAttribute("aria-expanded", "false");
    tools.append(change);
  }
  tools.append(button("Take off", () => spot.remove()));
  spot.append(tools);
};
const add = (one) => {
  const kind = one.dataset.add.split(":")[0], spot = BLANK.cloneNode(true);
  let code = one.dataset.add;
  // A second one of the same size would be the same spot: it starts beside it.
  while (codes().includes(code)) {
    const [size, rest] = [Number(code.match(/:(\d+)/)[1]), code.replace(/^\w+:\d+/, "")];
    code = `${kind}:${kind === "joint" && size >= 150 ? 15 : size + (kind === "joint" ? 5 : 1)}${rest}`;
  }
  field(spot, "code").value = code;
  const taken = [...picked.children].map((other) => field(other, "name").value);
  const free = NAMES[kind].filter((name) => !taken.includes(name));
  const name = field(spot, "name");
  const alike = taken.filter((other) => other.startsWith(NAMES[kind][0])).length;
  name.value = free[0] ?? `${NAMES[kind][0]} ${alike + 1}`;
  name.setAttribute("aria-label", `${name.value}, in your words`);
  spot.querySelector(".picture").replaceChildren(one.querySelector("svg").cloneNode(true));
  spot.querySelector(".kind").textContent = "";
  picked.append(spot);
  prepare(spot);
  spot.querySelector(".tools .button").click();
  spot.scrollIntoView({ block: "nearest" });
};

for (const spot of [...picked.children]) {
  if (!field(spot, "code").value && !field(spot, "name").value) spot.remove();
  else prepare(spot);
}
for (const part of document.querySelectorAll(".with-script")) part.hidden = false;
for (const part of document.querySelectorAll(".without-script")) part.hidden = true;
for (const one of document.querySelectorAll("[data-add]")) one.addEventListener("click", () => add(one));
// A second tap on the way would be a second tree.
form.addEventListener("submit", () => { form.querySelector(".hang").disabled = true; });
addEventListener("pageshow", () => { form.querySelector(".hang").disabled = false; });
