// Comfort only: every page works without this file.
"use strict";
for (const counter of document.querySelectorAll(".counter")) {
  const input = counter.querySelector("input");
  const least = Number(counter.dataset.least);
  const step = (sign, by) => {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = sign;
    button.setAttribute("aria-label", `${sign === "+" ? "one more" : "one less"}: ${counter.previousElementSibling.textContent}`);
    button.addEventListener("click", () => { input.value = Math.max(least, Number(input.value || 0) + by); });
    return button;
  };
  counter.prepend(step("−", -1));
  counter.append(step("+", 1));
}
// A form is sent once, and what was typed stays on the screen when it could not be sent: sending it again is safe.
for (const form of document.querySelectorAll('form[method="post"]:not([enctype])')) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const buttons = form.querySelectorAll("button");
    buttons.forEach((button) => { button.disabled = true; });
    try {
      const answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)), signal: AbortSignal.timeout(20000) });
      const page = await answer.text();
      history.pushState(null, "", answer.redirected ? answer.url : location.href);
      document.open(); document.write(page); document.close();
    } catch {
      buttons.forEach((button) => { button.disabled = false; });
      let note = form.querySelector(".unsent");
      if (!note) { note = document.createElement("p"); note.className = "unsent"; note.setAttribute("role", "alert"); form.append(note); }
      note.textContent = document.body.dataset.unsent;
    }
  });
}
// Finding a species on the tree. A page that is written over another shares its names, so they stay in a block.
{
const finder = document.querySelector(".finder");
if (finder) {
  finder.hidden = false;
  const rows = [...document.querySelectorAll(".narrow-tree a")];
  finder.querySelector("input").addEventListener("input", (event) => {
    const wanted = event.target.value.trim().toLowerCase();
    const hits = rows.filter((row) => { const hit = wanted.length > 1 && row.textContent.toLowerCase().includes(wanted); row.classList.toggle("found", hit); return hit; });
    if (hits.length) hits[0].scrollIntoView({ block: "center" });
  });
}
}
