"use strict";
// Buttons in place of typing: the speeds on the machine's card, the fractions of an inch.
(() => {
  const made = (className, label) => {
    const box = document.createElement("div");
    box.className = className;
    box.setAttribute("role", "group");
    box.setAttribute("aria-label", label);
    return box;
  };
  const button = (text, press) => {
    const one = document.createElement("button");
    one.type = "button";
    one.textContent = text;
    one.addEventListener("click", () => press(one));
    return one;
  };
  const changed = (input) => input.dispatchEvent(new Event("input", { bubbles: true }));

  // Speeds: of the chosen machine, else those typed as the machine's.
  const speed = document.querySelector("[name='cut.speed']");
  const pick = document.getElementById("pick-machine");
  const typed = document.querySelector("[name='machine.speeds']");
  const listed = () => {
    const card = pick?.selectedOptions[0]?.dataset.speeds;
    if (card) return card.split(" ");
    const text = typed?.value || "";
    return (text.includes(";") ? text.split(";") : text.split(/,\s*|\s+/)).map((one) => one.trim()).filter((one) => /^\d+([.,]\d+)?$/.test(one));
  };
  if (speed) {
    const field = speed.closest(".field");
    const box = made("keys", "Speeds of this machine");
    (field.parentElement.matches(".two") ? field.parentElement : field).after(box);
    const mark = () => {
      for (const one of box.children) one.setAttribute("aria-pressed", String(one.textContent === speed.value.trim()));
    };
    const show = () => {
      box.replaceChildren(...listed().slice(0, 40).map((text) => button(text, () => {
        speed.value = text;
        changed(speed);
      })));
      box.hidden = !box.children.length;
      mark();
    };
    speed.addEventListener("input", mark);
    typed?.addEventListener("input", show);
    pick?.addEventListener("change", show);
    show();
  }

  // Fractions: a pad of digits has no stroke; the buttons stand under the field that is filled in.
  for (const input of document.querySelectorAll("input[data-keys]")) {
    const box = made("keys small", `Fractions for ${document.querySelector(`label[for='${input.id}']`)?.textContent.trim() || "this field"}`);
    for (const sign of input.dataset.keys.split(" ")) {
      box.append(button(sign, () => {
        const at = input.selectionStart ?? input.value.length;
        const apart = sign.length === 4 && /\d$/.test(input.value.slice(0, at)) ? " " : "";
        const text = sign === "space" ? " " : apart + sign;
        input.setRangeText(text, at, input.selectionEnd ?? at, "end");
        input.focus();
        changed(input);
      }));
    }
    box.hidden = true;
    const field = input.closest(".field");
    field.append(box);
    // Not hidden while one of its buttons is pressed: it would move away from under the finger.
    box.addEventListener("pointerdown", (event) => event.preventDefault());
    field.addEventListener("focusin", () => (box.hidden = false));
    field.addEventListener("focusout", (event) => field.contains(event.relatedTarget) || (box.hidden = true));
  }
})();
