// Sends a chosen photo to the entry that was just written, and shows it there.
"use strict";

document.documentElement.classList.add("with-scripts");

document.addEventListener("change", async (event) => {
  const { to } = event.target.dataset;
  if (to === undefined) return;
  const [photo] = event.target.files;
  const says = event.target.parentElement.querySelector("[role=status]");
  says.textContent = "Sending …";
  const answer = await fetch(to, { method: "POST", headers: { "Content-Type": photo.type }, body: photo });
  if (answer.ok) location.reload();
  else says.textContent = (await answer.json()).detail;
});
