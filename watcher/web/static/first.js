"use strict";
// The first visit: before a tap leads on, whether the watch is reached at all. A page that cannot be
// sent is gone for the browser's own one, with all that was typed.
(() => {
  const says = document.createElement("p");
  says.className = "wrong";
  says.setAttribute("role", "alert");
  for (const form of document.querySelectorAll("form[method=post]")) {
    let asking = false, reached = false;
    addEventListener("pageshow", () => { reached = false; });
    form.addEventListener("submit", async (event) => {
      if (reached) return;
      event.preventDefault();
      if (asking) return;
      const by = event.submitter;
      asking = true;
      says.remove();
      try {
        await fetch("/first/here", { cache: "no-store", signal: AbortSignal.timeout(8000) });
        reached = true;
        form.requestSubmit(by);
      } catch {
        says.textContent = document.body.dataset.cut;
        (by && by.getClientRects().length ? by : form.querySelector("button.big") || form.lastElementChild).before(says);
      } finally { asking = false; }
    });
  }
})();
