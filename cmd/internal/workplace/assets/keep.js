// What the browser keeps for these pages. One that is full, or may keep nothing, as in a
// private window or by a kiosk's rules, must not swallow a scan: it is kept in the page
// then, and the page says so.
class Keep {
  constructor(name) {
    this.name = name;
    this.inPage = new Map();
  }
  getItem(key) {
    if (this.inPage.has(key)) return this.inPage.get(key);
    try {
      return window[this.name].getItem(key);
    } catch {
      return null;
    }
  }
  setItem(key, value) {
    try {
      window[this.name].setItem(key, value);
      this.inPage.delete(key);
    } catch {
      this.inPage.set(key, String(value));
    }
    tell();
  }
  removeItem(key) {
    this.inPage.delete(key);
    try {
      window[this.name].removeItem(key);
    } catch { /* nothing is kept there */ }
    tell();
  }
  keys() {
    let keys = [];
    try {
      keys = Object.keys(window[this.name]);
    } catch { /* nothing is kept there */ }
    return [...new Set([...keys, ...this.inPage.keys()])];
  }
}

export const kept = new Keep("localStorage"); // by all pages of this server
export const ofTab = new Keep("sessionStorage");

function tell() {
  const p = document.getElementById("unkept");
  if (p) p.hidden = !kept.inPage.size && !ofTab.inPage.size;
}

// It is said before anything is lost by it.
kept.setItem("kept", "1");
