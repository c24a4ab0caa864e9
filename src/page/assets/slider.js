// Sliders: each step has its words and its verdict from the program; this shows those of the step at hand.
function show(slider) {
  const { says, met, now, note } = slider.dataset, at = +slider.value, text = says.split("\n")[at];
  const output = slider.closest(".knob").querySelector("output");
  output.textContent = at === +now ? `${text} (${note})` : text;
  output.classList.toggle("alarm", met[at] === "n");
  slider.setAttribute("aria-valuetext", text);
}

document.addEventListener("input", event => { if (event.target.dataset.says) show(event.target); });
