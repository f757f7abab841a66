/** What the page asks of the program on this machine; the token is after the # of the address. */

const token = location.hash.slice(1);

/**
 * @param {string} path
 * @param {object} [sent] what to change; without it something is only read
 * @returns {Promise<any>}
 */
export async function ask(path, sent) {
  const headers = { authorization: `Bearer ${token}` };
  let answer;
  try {
    answer = await fetch(path, sent === undefined ? { headers }
      : { method: "POST", headers: { ...headers, "content-type": "application/json" }, body: JSON.stringify(sent) });
  } catch {
    throw new Error("The program does not answer: start the review again. What was kept is kept.");
  }
  let told;
  try {
    told = await answer.json();
  } catch {
    throw new Error(`The program answered with ${answer.status}: reload the page.`);
  }
  if (!answer.ok) throw new Error(told.error);
  return told;
}
