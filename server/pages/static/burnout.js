// The sheet is the page on paper.
const print = document.getElementById("print");
if (print) {
  print.hidden = false;
  print.querySelector("button").addEventListener("click", () => window.print());
}
