// Has this phone told of what is due, tries it, and stops it; says in plain words what is missing for that.
const place = document.getElementById("told-phone");
const words = place.querySelector("[role=status]");
const buttons = new Map(Array.from(place.querySelectorAll("button"), (button) => [button.dataset.do, button]));
const show = (said, ...actions) => {
  words.textContent = said;
  for (const [name, button] of buttons) { button.hidden = !actions.includes(name); button.disabled = false; }
  place.querySelector("a").hidden = window.isSecureContext;
};

const apple = /iPhone|iPad|iPod/.test(navigator.userAgent) || (navigator.platform === "MacIntel" && navigator.maxTouchPoints > 1);
// What the two phone systems ask is from memory: Home Screen and 16.4 on the one, the sign by the address on the other.
const missing = () => {
  if (!window.isSecureContext) return "This phone does not trust the connection to the shop yet, and so takes no notices from it.";
  if (apple && !("PushManager" in window)) return navigator.standalone
    ? "This iPhone or iPad takes no notices from pages: its system must be 16.4 or later."
    : "An iPhone or iPad takes notices only from a page on its Home Screen: tap Share, then Add to Home Screen, and open Slowcorner from there.";
  if (!("serviceWorker" in navigator && "PushManager" in window && "Notification" in window))
    return "This browser takes no notices from pages. Another one on this phone may; a private window never does.";
  if (Notification.permission === "denied") return `Notices were refused for this page. To allow them, ${apple
    ? "open the phone’s Settings, Notifications, Slowcorner" : "tap the sign beside the address, then Permissions, Notifications"}; then open this page anew.`;
  return "";
};

const call = async (what, said) => {
  const answer = await fetch(`/api/push/subscriptions${what}`, {
    method: "POST", body: JSON.stringify(said), headers: { "Content-Type": "application/json", Accept: "application/json" },
    signal: AbortSignal.timeout(30000),
  });
  const told = await answer.json();
  if (!answer.ok) throw new Error(told.detail);
  return told;
};
const pushes = async () => {
  const late = new Promise((_, failed) => setTimeout(() => failed(new Error("the worker of this page did not start")), 10000));
  return (await Promise.race([navigator.serviceWorker.ready, late])).pushManager;
};
const keyBytes = () => Uint8Array.from(atob(place.dataset.key.replaceAll("-", "+").replaceAll("_", "/")), (sign) => sign.charCodeAt(0));

const look = async () => {
  const without = missing();
  if (without) return show(without);
  const subscription = await (await pushes()).getSubscription();
  if (!subscription) return show("This phone is not told.", "tell");
  const { state, reason } = await call("/standing", { endpoint: subscription.endpoint });
  if (state === "told") return show("This phone is told of what is due.", "test", "stop");
  if (state === "dropped") return show(`This phone is told no more: ${reason}.`, "tell");
  return show("This phone had asked to be told, but the shop does not know it: ask anew.", "tell");
};
const tell = async () => {
  const answer = await Notification.requestPermission();
  if (answer !== "granted") return show(missing() || "Notices are not allowed yet: the phone asks when you press again.", "tell");
  const manager = await pushes();
  // An old one may be of another key, or its push service may have given it up: a fresh one is told surely.
  await (await manager.getSubscription())?.unsubscribe();
  const fresh = await manager.subscribe({ userVisibleOnly: true, applicationServerKey: keyBytes() }).catch((error) => {
    throw new Error(`the browser’s push service gave no address (${error.message}): this phone needs the internet for that`);
  });
  const { endpoint, keys } = fresh.toJSON();
  await call("", { endpoint, keys });
  await look();
};
const test = async () => {
  const { endpoint } = await (await pushes()).getSubscription();
  const { sent, reason } = await call("/test", { endpoint });
  await look();
  words.textContent += sent
    ? " The test notice is on its way, and here within seconds. If it does not come, see whether the phone keeps this browser’s notices silent."
    : ` The test notice did not go: ${reason}.`;
};
const stop = async () => {
  const subscription = await (await pushes()).getSubscription();
  await call("/stop", { endpoint: subscription.endpoint });
  await subscription.unsubscribe();
  await look();
};

// How many phones are told, and which are no more, is said by the page as it is now.
const countAnew = async () => {
  const page = new DOMParser().parseFromString(await (await fetch("/shop", { cache: "no-store" })).text(), "text/html");
  const counted = page.getElementById("told-phones");
  if (counted) document.getElementById("told-phones").replaceWith(document.adoptNode(counted));
};

const work = { tell, test, stop };
for (const [name, button] of buttons) button.addEventListener("click", async () => {
  button.disabled = true;
  try {
    await work[name]();
    await countAnew();
  } catch (error) {
    words.textContent = `It was not done: ${error.message}.`;
  }
  button.disabled = false;
});
look().catch((error) => show(`It is not known whether this phone is told: ${error.message}.`));
