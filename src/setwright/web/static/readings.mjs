// Enter goes to the next field, the last one keeps; what is unlikely is questioned when its field is left.
function about(input, answer) {
  const spot = input.closest(".spot");
  const wrong = spot.querySelector(".wrong");
  const sure = spot.querySelector(".tick");
  wrong.textContent = answer.wrong || "";
  wrong.hidden = !answer.wrong;
  sure.hidden = !answer.ask;
  if (!answer.ask) sure.querySelector("input").checked = false;
  if (answer.wrong) input.setAttribute("aria-invalid", "true");
  else input.removeAttribute("aria-invalid");
}

async function look(form, input) {
  const text = input.value.trim();
  if (!text) { about(input, {}); return; }
  const asked = new URL(form.dataset.look, location.href);
  asked.searchParams.set("words", input.dataset.words);
  asked.searchParams.set("text", text);
  for (const name of ["unit", "gauge"]) {
    const chosen = form.elements[name];
    if (chosen) asked.searchParams.set(name, chosen.value);
  }
  try {
    const answer = await fetch(asked);
    if (answer.ok && input.value.trim() === text) about(input, await answer.json());
  } catch { /* the bench does not answer: it will look when the readings are kept */ }
}

for (const form of document.querySelectorAll("form[data-look]")) {
  const inputs = [...form.querySelectorAll("input[data-words]")];
  inputs.forEach((input, i) => {
    input.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" || event.isComposing) return;
      const next = inputs.slice(i + 1).find((one) => !one.closest("details:not([open])")); // none that is folded away
      if (!next) return;
      event.preventDefault();
      next.focus();
      next.select();
    });
    input.addEventListener("change", () => look(form, input));
  });
  for (const chosen of form.querySelectorAll("select")) {
    chosen.addEventListener("change", () => inputs.filter((one) => one.value).forEach((one) => look(form, one)));
  }
  form.addEventListener("submit", () => setTimeout(() => { for (const one of form.querySelectorAll("button")) one.disabled = true; }));
}
addEventListener("pageshow", () => { for (const one of document.querySelectorAll("form[data-look] button")) one.disabled = false; });
