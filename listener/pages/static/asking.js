// Requests to this server that change something: same origin, with the token of the page, JSON both ways.

const token = document.querySelector('meta[name="crownsole-token"]').content;

/** Sends `body` (an object, or a Blob of a file) and returns the answer; throws an Error with a sentence for people,
 *  and what else was answered as `said`. */
export async function ask(path, body = {}, method = "POST") {
  const file = body instanceof Blob;
  let answer;
  try {
    answer = await fetch(path, {
      method,
      headers: {
        "X-Crownsole-Token": token,
        "Content-Type": file ? "application/octet-stream" : "application/json",
      },
      body: file ? body : JSON.stringify(body),
    });
  } catch {
    throw new Error("Crownsole does not answer. Is it still running?");
  }
  const said = await answer.json().catch(() => ({}));
  if (!answer.ok) throw Object.assign(new Error(said.error ?? "This could not be done."), { said });
  return said;
}

/** The address of a socket of this server. */
export function socketAddress(path, parameters = {}) {
  const address = new URL(path, location.href);
  address.protocol = "ws:";
  for (const [name, value] of Object.entries({ ...parameters, token })) address.searchParams.set(name, value);
  return address.href;
}
