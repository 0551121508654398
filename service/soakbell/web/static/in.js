"use strict";
/* At the door: what waits on this phone is not lost. */

soakbell.queue.all().then((entries) => {
  if (!entries.length) return;
  const told = document.getElementById("kept-entries");
  const [wait, go] = entries.length === 1 ? ["1 entry waits", "It goes"] : [`${entries.length} entries wait`, "They go"];
  told.textContent = `${wait} on this phone. ${go} to the log once you sign in.`;
  told.hidden = false;
}).catch(() => {}); // nothing was ever kept here
