// What the controls of a demonstration lack: a name for who cannot see them, the state of a choice,
// a place for the keyboard when a button goes, and letters that stay out of the notebook.

function put(element, name, value) {
  if (element && element.getAttribute(name) !== value) element.setAttribute(name, value);
}

function labelOf(box) {
  const label = box.querySelector(".widget-label");
  return label ? label.textContent.trim() : "";
}

function tidy(face) {
  for (const slider of face.querySelectorAll(".widget-slider")) {
    const readout = slider.querySelector(".widget-readout");
    put(slider.querySelector(".noUi-handle"), "aria-label", labelOf(slider));
    put(readout, "aria-label", labelOf(slider));
    put(readout, "role", "textbox");
  }
  for (const choice of face.querySelectorAll(".widget-toggle-buttons")) {
    put(choice, "role", "group");
    put(choice, "aria-label", labelOf(choice));
    for (const button of choice.querySelectorAll("button")) {
      put(button, "aria-pressed", String(button.classList.contains("mod-active")));
    }
  }
}

// When the focused button is hidden, the first thing that can be reached in the stage has the focus.
function follow(face, last) {
  const lost = [document.body, last].includes(document.activeElement);
  if (!last || !lost || last.offsetParent !== null) return;
  const next = [...face.querySelectorAll(".ml-stage button, .ml-stage [tabindex='0']")];
  const open = next.find((element) => element.offsetParent !== null);
  if (open) open.focus();
}

function render({ el }) {
  el.hidden = true;
  let face = null, last = null, frame = 0;
  const watch = new MutationObserver(() => { tidy(face); follow(face, last); });
  const remember = (event) => { last = event.target; };
  const keep = (event) => {
    if (!event.ctrlKey && !event.metaKey && !event.altKey) event.stopPropagation();
  };
  const settle = () => {
    face = el.closest(".ml-face");
    if (!face) { frame = requestAnimationFrame(settle); return; }
    face.addEventListener("focusin", remember);
    face.addEventListener("keydown", keep);
    watch.observe(face, {
      childList: true, subtree: true, attributes: true, attributeFilter: ["class", "style"],
    });
    tidy(face);
  };
  settle();
  return () => {
    cancelAnimationFrame(frame);
    watch.disconnect();
    if (!face) return;
    face.removeEventListener("focusin", remember);
    face.removeEventListener("keydown", keep);
  };
}

export default { render };
