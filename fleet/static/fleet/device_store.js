// The device's own database, for pages and for the worker behind them: entries to send, what was taken along, and what
// stands at each bearing. Its stores are named here and nowhere else.

const NAME = "at the pump", EDITION = 1, STORES = ["queue", "pack", "kept"];

export function opened() {
  return new Promise((resolve, reject) => {
    const asked = indexedDB.open(NAME, EDITION);
    asked.onupgradeneeded = () => {
      for (const store of STORES) asked.result.createObjectStore(store, { keyPath: "id" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
}
