"use strict";
// The first visit: before a tap leads on, whether the watch is reached at all. A page that cannot be
// sent is gone for the browser's own one, with all that was typed. Where nothing was, it is not asked.
(() => {
  const says = document.createElement("p");
  says.className = "wrong";
  says.setAttribute("role", "alert");
  // What stands in a field beside what the watch has kept of it, or what it came with.
  const isTyped = (one) => {
    const was = one.form.elements[`was:${one.name}`];
    if (was) return one.value !== was.value;
    return one.type !== "hidden" && one.defaultValue !== undefined && (one.value !== one.defaultValue || one.checked !== one.defaultChecked);
  };
  for (const form of document.querySelectorAll("form[method=post]")) {
    let asking = false, reached = false;
    addEventListener("pageshow", () => { reached = false; });
    form.addEventListener("submit", async (event) => {
      if (reached || ![...form.elements].some(isTyped)) return;
      event.preventDefault();
      if (asking) return;
      const by = event.submitter;
      asking = true;
      says.remove();
      try {
        const answer = await fetch("/first/here", { cache: "no-store", signal: AbortSignal.timeout(8000) });
        await answer.arrayBuffer();
        reached = true;
        form.requestSubmit(by);
      } catch {
        says.textContent = document.body.dataset.cut;
        (by && by.getClientRects().length ? by : form.querySelector("button.big") || form.lastElementChild).before(says);
      } finally { asking = false; }
    });
  }
})();
