// A button beside what is shown once; data-copy and data-copied say what is on it before and after.
for (const shown of navigator.clipboard ? document.querySelectorAll("[data-copy]") : []) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "act quiet";
  button.setAttribute("aria-live", "polite");
  button.textContent = shown.dataset.copy;
  button.addEventListener("click", async () => {
    await navigator.clipboard.writeText(shown.dataset.text || shown.innerText.trim());
    button.textContent = shown.dataset.copied;
  });
  const line = document.createElement("p");
  line.className = "acts";
  line.append(button);
  shown.after(line);
}
