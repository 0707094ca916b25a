// Reading the chart of a tree: by touch, by dragging, by arrow keys on the slider. The words are the server's.
// The page may be shown anew at any time, so nothing is bound to what stands in it: all is listened to above it.
const parts = (within) => {
  const figure = within.closest("figure.readable");
  const chart = figure.querySelector("svg[data-read]");
  return { chart, slider: figure.querySelector("input[type=range]"), told: figure.querySelector(".told") };
};
const columns = (chart) => JSON.parse(chart.dataset.read);

const show = (within, at) => {
  const { chart, slider, told } = parts(within);
  const [x, words] = columns(chart)[at];
  chart.querySelector(".reader").setAttribute("transform", `translate(${x} 0)`);
  chart.classList.add("read");
  slider.value = at;
  slider.setAttribute("aria-valuetext", words);
  told.textContent = words;
};

// Where in the picture's own units the finger is, and which of the places to read is nearest.
const nearest = (chart, clientX) => {
  const box = chart.getBoundingClientRect();
  const x = (clientX - box.left) / box.width * chart.viewBox.baseVal.width;
  let best = 0;
  const places = columns(chart);
  places.forEach(([at], index) => { if (Math.abs(at - x) < Math.abs(places[best][0] - x)) best = index; });
  return best;
};
const touched = (event) => {
  const chart = event.target.closest?.("figure.readable svg[data-read]");
  if (!chart || (event.type === "pointermove" && event.buttons === 0 && event.pointerType !== "mouse")) return;
  show(chart, nearest(chart, event.clientX));
  // While the slider has the focus the page is not shown anew under the finger.
  if (event.type === "pointerdown") { event.preventDefault(); parts(chart).slider.focus({ preventScroll: true }); }
};
for (const kind of ["pointerdown", "pointermove"]) document.addEventListener(kind, touched);
document.addEventListener("input", (event) => {
  if (event.target.matches("figure.readable input[type=range]")) show(event.target, Number(event.target.value));
});

const prepare = () => {
  for (const label of document.querySelectorAll("figure.readable .reading[hidden]")) label.hidden = false;
};
prepare();
new MutationObserver(prepare).observe(document.body, { childList: true });
