// The bytes of a record: RFC 8785, as package events makes them, and the signed note. It has no imports, so that
// the vectors that hold it to Go run it as it is.

// canonical returns the one written form of a JSON value. It throws for what that form can't protect: numbers that
// are not whole or beyond 2^53-1, and halves of surrogate pairs. Names stand in the order of their UTF-16 units, which is how
// JavaScript compares strings.
export function canonical(v) {
  if (Array.isArray(v)) return "[" + v.map(canonical).join(",") + "]";
  if (v !== null && typeof v === "object") {
    return "{" + Object.keys(v).sort().map(name => canonical(name) + ":" + canonical(v[name])).join(",") + "}";
  }
  if (typeof v === "number" && (!Number.isSafeInteger(v) || Object.is(v, -0))) throw new Error("a number that is not whole");
  if (typeof v === "string" && !v.isWellFormed()) throw new Error("a text that is not Unicode");
  if (v === undefined) throw new Error("nothing");
  return JSON.stringify(v);
}

const utf8 = new TextEncoder();
export const base64 = bytes => btoa(String.fromCharCode(...bytes));
const bytesOf = async (...parts) => new Uint8Array(await new Blob(parts).arrayBuffer());
export const sha256 = async bytes => new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
export const hex = bytes => Array.from(bytes, b => b.toString(16).padStart(2, "0")).join("");

// keyID names a station's key in its notes: the first four bytes of the digest of name and key (C2SP signed-note).
export const keyID = async (station, raw) => (await sha256(await bytesOf(station, "\n\x01", raw))).slice(0, 4);

// signNote signs an event: its canonical form on one line, a blank line, the signature line.
export async function signNote(event, station, id, key) {
  const text = canonical(event) + "\n";
  const signature = new Uint8Array(await crypto.subtle.sign("Ed25519", key, utf8.encode(text)));
  return text + "\n— " + station + " " + base64(await bytesOf(id, signature)) + "\n";
}

// noteHash is what the station's next record names as the one before it.
export const noteHash = async note => hex(await sha256(utf8.encode(note)));

// markOf is what stands in a record in the place of a text that was disclosed so.
export async function markOf(disclosure) {
  const digest = await sha256(utf8.encode(disclosure));
  return "sha-256." + base64(digest).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
}
