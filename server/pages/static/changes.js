// Listens to the service's stream of changes while the page can be seen: a phone in a pocket is left in peace.
// What comes is only that something changed; the page then fetches itself. Where there is no stream (an old
// browser, a refused or broken one) the page looks by itself, as `told` says.

// `topic()` is what the page shows, `since()` when it was made [shop ms]; `changed` and `broken` are called.
export const listen = ({ topic, since, changed, broken }) => {
  let source = null, seen = null;
  const open = () => {
    if (!("EventSource" in window) || document.visibilityState !== "visible") return;
    source = new EventSource(`/events?of=${encodeURIComponent(topic())}`);
    source.addEventListener("message", ({ lastEventId, data }) => {
      // The first one tells how things stand: that may be newer than the page, or older.
      const isNew = seen === null ? Number(data) >= since() : lastEventId !== seen;
      seen = lastEventId;
      if (isNew) changed();
    });
    source.addEventListener("error", broken);
  };
  const close = () => { source?.close(); source = null; };
  document.addEventListener("visibilitychange", () => { close(); open(); });
  addEventListener("pagehide", close);
  addEventListener("pageshow", (event) => { if (event.persisted) { close(); open(); } });
  open();
  return {
    told: () => source !== null && source.readyState === EventSource.OPEN,
    // A stream that was refused for good is tried again; one that broke off comes back by itself.
    tryAgain: () => { if (source !== null && source.readyState === EventSource.CLOSED) { close(); open(); } },
  };
};
