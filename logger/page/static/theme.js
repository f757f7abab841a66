/** Light, dark, or as the system is set. */

const ORDER = ["system", "light", "dark"];

/** @param {HTMLButtonElement} button */
export function chooseTheme(button) {
  let chosen = localStorage.getItem("theme") ?? "system";
  const apply = () => {
    if (chosen === "system") delete document.documentElement.dataset.theme;
    else document.documentElement.dataset.theme = chosen;
    button.textContent = `Colours: ${chosen}`;
  };
  button.addEventListener("click", () => {
    chosen = ORDER[(ORDER.indexOf(chosen) + 1) % ORDER.length];
    localStorage.setItem("theme", chosen);
    apply();
  });
  apply();
}
