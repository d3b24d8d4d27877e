// The page's own script: asks whether anything is new, gives charts the colours of day or night, and
// sends "I have it" without leaving the page. No time is read from this machine: the farm's clock is the page's.
(() => {
  "use strict";
  const POLL_MS = 2000, SLOWEST_MS = 60000, GIVE_UP_MS = 15000, SAID_MS = 12000;
  const dark = window.matchMedia("(prefers-color-scheme: dark)");

  const coloured = (node, style) => {
    if (typeof node === "string") {
      return node.replace(/var\((--[a-z-]+)\)/g, (_, name) => style.getPropertyValue(name).trim());
    }
    if (Array.isArray(node)) {
      return typeof node[0] === "number" ? node : node.map((item) => coloured(item, style));
    }
    if (node && typeof node === "object") {
      return Object.fromEntries(Object.entries(node).map(([key, item]) => [key, coloured(item, style)]));
    }
    return node;
  };

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    lantern: { figure: (drawn) => coloured(drawn, getComputedStyle(document.documentElement)) },
  });
  const set = (id, props) => window.dash_clientside.set_props && window.dash_clientside.set_props(id, props);
  dark.addEventListener("change", () => set("scheme", { data: dark.matches ? "night" : "day" }));

  // The tab says what the page says, also when the sentence changes while the page is open.
  new MutationObserver(() => {
    const page = document.querySelector("[data-title]");
    if (page && document.title !== page.dataset.title) document.title = page.dataset.title;
  }).observe(document.documentElement, {
    subtree: true, childList: true, attributes: true, attributeFilter: ["data-title"],
  });

  // One question at a time, and no new answer asked of the page before it has shown the last: a page that
  // is told faster than its link answers would never change.
  let known = null, sent = null, sentAt = 0, wait = POLL_MS, timer = 0, lostAt = 0;
  const isBusy = () => {
    const page = document.querySelector("[data-shown]");
    const shown = page && page.dataset.shown;
    return sent !== null && shown && shown !== sent && performance.now() - sentAt < GIVE_UP_MS;
  };
  const lost = (isLost) => {
    if (!isLost) { if (lostAt) set("link", { children: "" }); lostAt = 0; return; }
    lostAt = lostAt || performance.now();
    const seconds = Math.round((performance.now() - lostAt) / 1000);
    set("link", { children: `No answer from the farm${seconds ? ` for ${seconds} s` : ""}. What you see may be old.` });
  };
  const poll = async () => {
    clearTimeout(timer);
    if (!document.hidden && !isBusy()) {
      const stop = new AbortController();
      const patience = setTimeout(() => stop.abort(), GIVE_UP_MS);
      try {
        const answer = await fetch("/pulse", { cache: "no-store", signal: stop.signal });
        if (!answer.ok) throw new Error(answer.status);
        const pulse = await answer.text();
        if (known !== null && pulse !== known) {
          sent = pulse; sentAt = performance.now();
          set("pulse", { data: pulse });
        }
        known = pulse; wait = POLL_MS; lost(false);
      } catch { wait = Math.min(wait * 2, SLOWEST_MS); lost(true); }
      clearTimeout(patience);
    }
    timer = setTimeout(poll, wait);
  };
  document.addEventListener("visibilitychange", () => { if (!document.hidden) poll(); });
  poll();

  let saidTimer = 0;
  const say = (text) => {
    set("said", { children: text });
    clearTimeout(saidTimer);
    saidTimer = setTimeout(() => set("said", { children: "" }), SAID_MS);
  };
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.matches("form.have")) return;
    event.preventDefault();
    say("Sending.");
    try {
      const body = new URLSearchParams(new FormData(form, event.submitter));
      const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "text/plain" } });
      say(await answer.text());
    } catch { say("Not sent: the farm does not answer. Try again, or call somebody."); }
    setTimeout(poll, 300);
  });
})();
