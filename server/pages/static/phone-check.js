// Says what notices need of this browser, and what is missing. It asks for nothing and changes nothing.
"use strict";
(() => {
  const permission = "Notification" in window ? Notification.permission : "none";
  const checks = [
    [window.isSecureContext, "The connection is trusted", "The connection is not trusted: set up the authority above, then open this page over HTTPS"],
    ["serviceWorker" in navigator, "It can work in the background", "It cannot work in the background: it needs the trusted connection, and no private window"],
    ["PushManager" in window, "It takes notices", "It takes no notices here: on an iPhone, add the page to the Home Screen first and open it from there"],
    [permission === "granted" || permission === "default", permission === "granted" ? "Notices are allowed" : "Notices can be allowed; it asks when they are switched on", permission === "denied" ? "Notices were refused: allow them in the browser’s settings for this page" : "It has no notices to allow"],
  ];
  const list = document.getElementById("phone-check");
  list.replaceChildren(...checks.map(([good, yes, no]) => {
    const item = document.createElement("li");
    item.textContent = good ? `Yes: ${yes}.` : `Missing: ${no}.`;
    return item;
  }));
})();
