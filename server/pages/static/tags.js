// One button that the printer's own menu has as well.
const place = document.getElementById("print");
place.hidden = false;
place.firstElementChild.addEventListener("click", () => print());
