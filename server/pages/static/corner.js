// The drawn corner: two walls of wax, the coats round the fillet, the newest dark. Turned like a dial.
const W = 240, H = 170, MM = 6, FILLET = 2, FAR = 100;   // units, units a millimetre; mm; mm beyond any edge
const COATS = [[2.6, "wet"], [1.6, "half"], [0.6, "dry"], [0, "wax"]];   // mm above the wax, from outside in
const LEAST = 15, MOST = 150, STEP = 5, SLACK = 8;   // degrees; a drop that moves so few px turns nothing

// Everything under the surface that lies so far above the wax: the same lines as the server's pictures.
const outline = (angle, reach) => {
  const half = angle / 2 * Math.PI / 180, sine = Math.sin(half), cosine = Math.cos(half);
  const radius = reach ? FILLET : 0, centre = (reach + radius) / sine;
  const touch = [radius * cosine, centre - radius * sine];
  const far = [touch[0] + FAR * sine, touch[1] + FAR * cosine];
  const at = (x, y) => `${(W / 2 + x * MM).toFixed(1)} ${(H * 0.92 - y * MM).toFixed(1)}`;
  const arc = radius ? `A${radius * MM} ${radius * MM} 0 0 0 ${at(touch[0], touch[1])}` : "";
  return `M${at(-far[0], far[1])}L${at(-touch[0], touch[1])}${arc}L${at(far[0], far[1])}`
    + `L${at(2 * FAR, far[1])}L${at(2 * FAR, -FAR)}L${at(-2 * FAR, -FAR)}L${at(-2 * FAR, far[1])}Z`;
};
const made = (name, marks) => {
  const one = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [mark, value] of Object.entries(marks)) one.setAttribute(mark, value);
  return one;
};
export const stepped = (angle) => Math.min(Math.max(Math.round(angle / STEP) * STEP, LEAST), MOST);
export const draw = (svg, angle, grip = false) => {
  const half = angle / 2 * Math.PI / 180, away = 118;
  svg.replaceChildren(...COATS.map(([reach, kind]) => made("path", { class: kind, d: outline(angle, reach) })));
  if (!grip) return;
  for (const side of [-1, 1]) svg.append(made("circle", { class: "grip", r: 13,
    cx: W / 2 + side * away * Math.sin(half), cy: H * 0.92 - away * Math.cos(half) }));
};
export const picture = (angle) => {
  const svg = made("svg", { class: "section corner", viewBox: `0 0 ${W} ${H}`, role: "img", "aria-label": `a ${angle}° corner` });
  draw(svg, angle);
  return svg;
};
// Dragging a wall or the arrow keys turn it; `turned` is told the new angle.
export const dial = (svg, angle, turned) => {
  let now = angle, from = null;
  const show = (value) => {
    now = value;
    svg.setAttribute("aria-valuenow", now);
    svg.setAttribute("aria-valuetext", `${now}°`);
    draw(svg, now, true);
  };
  const turn = (value) => { if (stepped(value) !== now) { show(stepped(value)); turned(now); } };
  svg.addEventListener("pointerdown", (event) => { from = [event.clientX, event.clientY]; });
  svg.addEventListener("pointermove", (event) => {
    if (!from) return;
    if (from.length === 2 && Math.hypot(event.clientX - from[0], event.clientY - from[1]) < SLACK) return;
    from = [];
    svg.setPointerCapture(event.pointerId);
    const box = svg.getBoundingClientRect();
    const x = (event.clientX - box.left) / box.width * W - W / 2, y = H * 0.92 - (event.clientY - box.top) / box.height * H;
    turn(2 * Math.atan2(Math.abs(x), Math.max(y, 1)) * 180 / Math.PI);
  });
  for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, () => { from = null; });
  const KEYS = { ArrowLeft: -STEP, ArrowDown: -STEP, ArrowRight: STEP, ArrowUp: STEP, PageDown: -15, PageUp: 15, Home: -MOST, End: MOST };
  svg.addEventListener("keydown", (event) => {
    if (!(event.key in KEYS)) return;
    event.preventDefault();
    turn(now + KEYS[event.key]);
  });
  show(angle);
  return turn;
};
