// The wall refreshes itself. Written for the browsers of old tablets: plain ES5, no modules, no fetch.
(function () {
  "use strict";
  var EVERY_MS = 15000, PATIENCE_MS = 10000, lostAt = "";

  function two(number) { return number < 10 ? "0" + number : String(number); }
  function lost() {
    var now = new Date(), away = document.getElementById("away");
    if (!lostAt) lostAt = two(now.getHours()) + ":" + two(now.getMinutes());
    if (away) away.textContent = "Not connected since " + lostAt + " by this screen’s clock. What you see is from then.";
  }
  function show(html) {
    var fresh = new DOMParser().parseFromString(html, "text/html");
    var next = fresh.getElementById("wall"), here = document.getElementById("wall");
    if (!next) { lost(); return; }
    lostAt = "";
    document.body.className = fresh.body.className;
    here.className = next.className;
    if (here.innerHTML !== next.innerHTML) here.innerHTML = next.innerHTML;
  }
  function look() {
    var ask = new XMLHttpRequest();
    ask.onload = function () {
      if (ask.status === 200) show(ask.responseText); else lost();
      setTimeout(look, EVERY_MS);
    };
    ask.onerror = ask.ontimeout = function () { lost(); setTimeout(look, EVERY_MS); };
    ask.open("GET", location.href);
    ask.timeout = PATIENCE_MS;
    ask.send();
  }
  setTimeout(look, EVERY_MS);
})();
