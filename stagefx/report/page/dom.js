// Small helpers.  Whatever comes from a file or a listener goes in as text, never as markup.

/**
 * A screen's copy of a template.
 *
 * @param {string} id
 * @returns {DocumentFragment}
 */
export function copyOf(id) {
  const template = /** @type {HTMLTemplateElement} */ (document.getElementById(id));
  return /** @type {DocumentFragment} */ (template.content.cloneNode(true));
}

/**
 * The one element that fits.
 *
 * @template {HTMLElement} [T=HTMLElement]
 * @param {ParentNode} place
 * @param {string} selector
 * @returns {T}
 */
export function one(place, selector) {
  const found = place.querySelector(selector);
  if (!found) throw new Error(`the page has no ${selector}`);
  return /** @type {T} */ (found);
}

/**
 * @param {ParentNode} place
 * @param {string} selector
 * @param {string} text
 */
export function write(place, selector, text) {
  one(place, selector).textContent = text;
}

/**
 * Said by screen readers, shown to nobody.
 *
 * @param {string} text
 */
export function say(text) {
  write(document, "#status", text);
}

/**
 * Put a screen in place of the last one, and begin at its heading.
 *
 * @param {DocumentFragment} screen
 */
export function show(screen) {
  const main = one(document, "main");
  main.replaceChildren(screen);
  window.scrollTo(0, 0);
  one(main, "h1").focus({ preventScroll: true });
}
