"use strict";
// A device subscribes to pushes and tries whether they arrive.
(() => {
  // Whether this device is pushed to is known to the watch, asked with the address that this
  // device's own browser knows.
  const pushes = document.getElementById("pushes");
  if (pushes && "PushManager" in window && "serviceWorker" in navigator && "Notification" in window) {
    navigator.serviceWorker.register("/worker.js").catch(() => {});
    const LOOK_MS = 1000, LOOKS = 120;
    const says = document.getElementById("push-says");
    const button = document.getElementById("push"), test = document.getElementById("push-test");
    const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
    const ask = (what, content) => fetch("/devices/push" + what, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(content) });
    const manager = async () => (await navigator.serviceWorker.ready).pushManager;
    const refusal = async (answer) => {
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const wrong = page.querySelector("main [role=alert]");
      return wrong ? wrong.textContent : pushes.dataset.failed;
    };
    const look = async (ref) => {
      const device = await (await manager()).getSubscription();
      const answer = await ask("/state", { endpoint: device ? device.endpoint : "", ref: ref || "" });
      if (!answer.ok) throw new Error("no answer");
      const found = await answer.json();
      const denied = Notification.permission === "denied";
      says.textContent = denied ? pushes.dataset.denied : found.says;
      button.hidden = denied || found.here;
      test.hidden = denied || !found.here;
      return found.over;
    };
    const attempt = async (work) => {
      try { await work(); } catch { says.textContent = pushes.dataset.unknown; }
    };
    pushes.hidden = false;
    attempt(() => look());
    button.addEventListener("click", () => attempt(async () => {
      const { key } = await (await fetch("/devices/push")).json();
      let device;
      try {
        const way = await manager();
        const before = await way.getSubscription();
        if (before) await before.unsubscribe(); // one that the watch does not know, or that is over
        device = await way.subscribe({ userVisibleOnly: true, applicationServerKey: bytes(key) });
      } catch {
        says.textContent = Notification.permission === "denied" ? pushes.dataset.denied : pushes.dataset.failed;
        return;
      }
      const answer = await ask("", device);
      if (answer.ok) await look();
      else says.textContent = await refusal(answer);
    }));
    test.addEventListener("click", () => attempt(async () => {
      const answer = await ask("/test", { endpoint: ((await (await manager()).getSubscription()) || {}).endpoint || "" });
      if (!answer.ok) { says.textContent = await refusal(answer); return; }
      const { ref } = await answer.json();
      for (let looks = 0; looks < LOOKS && !(await look(ref)); looks++) {
        await new Promise((resolve) => { setTimeout(resolve, LOOK_MS); });
      }
    }));
  }
})();
