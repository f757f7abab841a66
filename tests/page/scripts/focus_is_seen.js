() => {
  const on = document.activeElement;
  const look = getComputedStyle(on);
  return on === document.body || (look.outlineStyle !== "none" && parseFloat(look.outlineWidth) >= 2);
}
