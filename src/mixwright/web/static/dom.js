// SPDX-License-Identifier: Apache-2.0
// Elements made of plain data: text stays text, whatever a song is called.

/** @typedef {Node | string | number | null | undefined | false} Child */

/**
 * Make an element.
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag
 * @param {Record<string, any>} [given] attributes by name; `on` + event: a listener; `data`: data attributes
 * @param {...(Child | Child[])} children
 * @returns {HTMLElementTagNameMap[K]}
 */
export function el(tag, given = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "data") Object.assign(made.dataset, value);
    else if (name === "value") /** @type {any} */ (made).value = value;
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, String(value));
  }
  made.append(...kept(children));
  return made;
}

/**
 * Put children in the place of all that an element holds.
 * @param {Element} parent
 * @param {...(Child | Child[])} children
 */
export function fill(parent, ...children) {
  parent.replaceChildren(...kept(children));
}

/**
 * @param {(Child | Child[])[]} children
 * @returns {(Node | string)[]}
 */
function kept(children) {
  const found = [];
  for (const child of children.flat()) {
    if (child instanceof Node) found.push(child);
    else if (child !== null && child !== undefined && child !== false) found.push(String(child));
  }
  return found;
}

/**
 * @param {string} id
 * @returns {HTMLElement}
 */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page has no #${id}`);
  return found;
}
